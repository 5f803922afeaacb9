package planfile

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	"hawser/detect/mooring"
	hawserv1 "hawser/proto/hawser/v1"
)

// FromProto is the plan in a message. Constraints are checked as for a file;
// errors are *Error with neither file nor line.
func FromProto(m *hawserv1.MooringPlan) (*mooring.Plan, error) {
	var faults faults
	if err := constrain(m, &faults, func(string) place { return place{} }); err != nil {
		return nil, err
	}
	if err := faults.err(); err != nil {
		return nil, err
	}
	return convert(m), nil
}

// constrain adds every constraint of the schema that m does not meet. An error
// means that the constraints themselves do not work. The validator is the one
// that protovalidate builds on first use and shares in the process.
func constrain(m *hawserv1.MooringPlan, f *faults, at func(path string) place) error {
	err := protovalidate.Validate(m)
	var broken *protovalidate.ValidationError
	if err != nil && !errors.As(err, &broken) {
		return err
	}
	if broken == nil {
		return nil
	}
	for _, v := range broken.Violations {
		if v.Proto.GetRuleId() == "plan.line_ids_unique" {
			repeatedIDs(m, f, at)
			continue
		}
		x := f.violation(v)
		x.place = at(x.path)
		f.add(x)
	}
	return nil
}

// violation puts the validator's words into ours: JSON names, and what stands
// there.
func (f *faults) violation(v *protovalidate.Violation) fault {
	path, last := "", planForm()
	for _, e := range v.Proto.GetField().GetElements() {
		for _, x := range last.fields {
			if int32(x.desc.Number()) == e.GetFieldNumber() {
				path, last = join(path, x.key), x.form
				break
			}
		}
		if e.HasIndex() {
			path += "[" + strconv.FormatUint(e.GetIndex(), 10) + "]"
		}
		if last == nil {
			break // a value: nothing lies deeper
		}
	}
	want := v.Proto.GetMessage()
	if v.Proto.GetRuleId() == "required" {
		return fault{path: path, want: "is required"}
	}
	// A rule across the fields of a message opens with the field to change.
	if key, rest, ok := strings.Cut(want, " "); ok && last != nil && last.byKey[key] != nil {
		if strings.HasPrefix(rest, "must ") || strings.HasPrefix(rest, "is ") {
			return fault{path: join(path, key), want: rest}
		}
	}
	return fault{path: path, want: want + instead(v.FieldValue)}
}

// instead tells the value found, for values short enough to tell.
func instead(v protoreflect.Value) string {
	switch x := v.Interface().(type) {
	case float64:
		return ", not " + strconv.FormatFloat(x, 'g', -1, 64)
	case string:
		return ", not " + strconv.Quote(clip(x))
	case protoreflect.EnumNumber:
		return fmt.Sprintf(", not %d", x)
	case protoreflect.List:
		return fmt.Sprintf(", not %d", x.Len())
	}
	return ""
}

// repeatedIDs finds what the validator only knows to exist.
func repeatedIDs(m *hawserv1.MooringPlan, f *faults, at func(path string) place) {
	first := map[string]int{}
	for i, l := range m.GetLines() {
		j, again := first[l.GetId()]
		if !again {
			first[l.GetId()] = i
			continue
		}
		path := fmt.Sprintf("lines[%d].id", i)
		f.add(fault{at(path), path, fmt.Sprintf("must be unique, and %q is the id of lines[%d]", clip(l.GetId()), j)})
	}
}
