package planfile

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
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
		risingTimes(m.GetTide().GetTable(), f, at)
		knownShip(m.GetShip(), f, at)
		return nil
	}
	type rule struct { // over the fields of a message
		path, want string
		form       *form
	}
	var rules []rule
	var values []string // paths at fault by themselves
	for _, v := range broken.Violations {
		path, form := schemaPath(v.Proto.GetField())
		switch id := v.Proto.GetRuleId(); {
		case id == "plan.line_ids_unique":
			repeated(m, "id", (*hawserv1.Line).GetId, f, at)
		case id == "plan.ropes_unique":
			repeated(m, "rope", (*hawserv1.Line).GetRope, f, at)
		case form != nil && id != "required":
			rules = append(rules, rule{path, v.Proto.GetMessage(), form})
		default:
			values = append(values, path)
			f.add(fault{at(path), path, wanted(v)})
		}
	}
	// Such a rule has nothing to say where one of the fields is itself at fault.
	for _, r := range rules {
		if slices.ContainsFunc(values, func(path string) bool { return strings.HasPrefix(path, r.path+".") }) {
			continue
		}
		// Its text opens with the field to change, where there is one.
		if key, rest, _ := strings.Cut(r.want, " "); r.form.byKey[key] != nil && !strings.HasPrefix(rest, "and ") {
			r.path, r.want = join(r.path, key), rest
		}
		f.add(fault{at(r.path), r.path, r.want})
	}
	return nil
}

// schemaPath is a validator's path in JSON names, and the form of the message
// there, nil at a value or a list.
func schemaPath(p *validate.FieldPath) (path string, last *form) {
	last = planForm()
	for _, e := range p.GetElements() {
		for _, x := range last.fields {
			if int32(x.desc.Number()) != e.GetFieldNumber() {
				continue
			}
			path = join(path, x.key)
			if last = x.form; x.desc.IsList() {
				if !e.HasIndex() {
					return path, nil
				}
				path += "[" + strconv.FormatUint(e.GetIndex(), 10) + "]"
			}
			break
		}
		if last == nil {
			break
		}
	}
	return path, last
}

var shorter = strings.NewReplacer("greater than or equal to", "at least", "less than or equal to", "at most",
	"greater than", "over", "less than", "under", "item(s)", "items")

// wanted is a rule for one value in few words, and the value that broke it.
func wanted(v *protovalidate.Violation) string {
	switch v.Proto.GetRuleId() {
	case "required":
		return "is required"
	case "string.pattern":
		return "must match " + v.RuleValue.String() + instead(v.FieldValue)
	}
	return strings.TrimPrefix(shorter.Replace(v.Proto.GetMessage()), "value ") + instead(v.FieldValue)
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

// repeated finds what the validator only knows to exist: a line's id or rope that
// is another's too.
func repeated(m *hawserv1.MooringPlan, key string, of func(*hawserv1.Line) string, f *faults, at func(path string) place) {
	first := map[string]int{}
	for i, l := range m.GetLines() {
		j, again := first[of(l)]
		if !again || of(l) == "" {
			first[of(l)] = i
			continue
		}
		path := fmt.Sprintf("lines[%d].%s", i, key)
		f.add(fault{at(path), path, fmt.Sprintf("must be unique, and %q is the %s of lines[%d]", clip(of(l)), key, j)})
	}
}
