// Package planfile turns a mooring plan written in YAML, or received as a
// message, into a mooring.Plan. It never repairs a plan, never reads half of
// one and never looks at whether a mooring is a good one. Its invariant: a plan
// it hands out has met every constraint of the schema and is complete, and a
// plan it refuses is refused with the place of each fault.
//
//	YAML text ─► node tree ─► hawserv1.MooringPlan ─► mooring.Plan
//	   │syntax      │walk, by descriptor   │constraints    defaults filled
//	   ▼            ▼                      ▼
//	plan.yaml:17: lines[3].mbl_kN: must be over 0 and at most 50000, not -5
//
// The keys are the JSON names of the schema's fields, and an enum's words are
// its value names without the prefix, in lower case with hyphens: MATERIAL_
// STEEL_WIRE is steel-wire. So the schema is the only list of what a plan
// holds, and a field added there can be written here at once.
//
// What is read strictly:
//   - Every number, every piece of text and every list must be stated, also
//     where zero or an empty list would do; only optional fields, optional
//     blocks and the side may be left out. A forgotten pretension is not 0 kN.
//   - A number is plain decimal, unquoted: no octal, hexadecimal, underscores,
//     NaN or infinity. A truth value is true or false.
//   - Text takes any one unquoted word as it is written, so that id: 1 is the
//     line "1" and id: 01 is the line "01". It does not take null.
//   - A key is given once in its mapping and is known. Anchors, aliases and
//     merges (<<) are followed; a value that came through one is reported at the
//     line where it stands, under the path of the line that uses it.
//   - One document in UTF-8, at most MaxBytes, indented with spaces.
package planfile

import (
	"fmt"
	"io"
	"os"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// MaxBytes is the most a plan file may hold. The longest plan the schema takes,
// with every value spelled out, is some 40 KiB, and 170 KiB with a year's tide
// table in it.
const MaxBytes = 256 << 10

// Load reads the plan in a file. The error of a faulty plan joins one *Error
// for each of the first few faults; its text has a line for each.
func Load(path string) (*mooring.Plan, *hawserv1.MooringPlan, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close() // nothing was written
	data, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, nil, err
	}
	return Parse(path, data)
}

// Parse is Load for a plan in memory; name stands for the file in errors.
func Parse(name string, data []byte) (*mooring.Plan, *hawserv1.MooringPlan, error) {
	faults := faults{file: name}
	root, fault := parse(data)
	if fault != nil {
		faults.add(*fault)
		return nil, nil, faults.err()
	}
	w := walker{faults: &faults, at: map[string]place{}}
	m := &hawserv1.MooringPlan{}
	w.message("", root, planForm(), m.ProtoReflect())
	if err := faults.err(); err != nil {
		return nil, nil, err
	}
	if err := constrain(m, &faults, w.place); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	if err := faults.err(); err != nil {
		return nil, nil, err
	}
	return convert(m), m, nil
}
