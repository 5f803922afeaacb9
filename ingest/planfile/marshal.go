package planfile

import (
	"bytes"
	"math"
	"strconv"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	hawserv1 "hawser/proto/hawser/v1"
)

// Marshal writes a plan as YAML that Parse reads back to the same message. A
// plan that breaks a constraint is refused as by FromProto.
func Marshal(m *hawserv1.MooringPlan) ([]byte, error) {
	if _, err := FromProto(m); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(mapping(planForm(), m.ProtoReflect())); err != nil {
		return nil, err
	}
	if err := e.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// mapping has the fields that are set and those that must be stated. Blocks of
// plain values only (a fender, a tail) go on one line.
func mapping(f *form, m protoreflect.Message) *yaml.Node {
	n := &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle}
	for _, x := range f.fields {
		if !m.Has(x.desc) && !x.must {
			continue
		}
		if x.form != nil || x.desc.IsList() {
			n.Style = 0
		}
		n.Content = append(n.Content, &yaml.Node{Kind: yaml.ScalarNode, Value: x.key}, value(x, m.Get(x.desc)))
	}
	return n
}

func value(x *field, v protoreflect.Value) *yaml.Node {
	if !x.desc.IsList() {
		return single(x, v)
	}
	n := &yaml.Node{Kind: yaml.SequenceNode}
	if x.form == nil || v.List().Len() == 0 {
		n.Style = yaml.FlowStyle
	}
	for i := range v.List().Len() {
		n.Content = append(n.Content, single(x, v.List().Get(i)))
	}
	return n
}

func single(x *field, v protoreflect.Value) *yaml.Node {
	n := &yaml.Node{Kind: yaml.ScalarNode}
	switch {
	case x.form != nil:
		return mapping(x.form, v.Message())
	case x.desc.Kind() == protoreflect.StringKind:
		n.Value, n.Tag, n.Style = v.String(), "!!str", yaml.DoubleQuotedStyle
	case x.desc.Kind() == protoreflect.DoubleKind:
		n.Value = formatNumber(v.Float())
	case x.desc.Kind() == protoreflect.BoolKind:
		n.Value = strconv.FormatBool(v.Bool())
	default:
		for _, w := range x.words {
			if w.number == v.Enum() {
				n.Value = w.text
			}
		}
	}
	return n
}

// formatNumber is the shortest text that reads back the same, without an
// exponent where people would not write one.
func formatNumber(f float64) string {
	if a := math.Abs(f); a != 0 && (a < 1e-6 || a >= 1e9) {
		return strconv.FormatFloat(f, 'e', -1, 64)
	}
	return strconv.FormatFloat(f, 'f', -1, 64)
}
