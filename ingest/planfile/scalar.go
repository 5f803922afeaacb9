package planfile

import (
	"regexp"
	"strconv"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// scalar reads one value of the field's kind; want is not empty where the node
// holds something else.
func scalar(n *yaml.Node, x *field) (v protoreflect.Value, want string) {
	switch x.desc.Kind() {
	case protoreflect.DoubleKind:
		return number(n)
	case protoreflect.BoolKind:
		return truth(n)
	case protoreflect.EnumKind:
		return choice(n, x.words)
	case protoreflect.StringKind:
		return text(n)
	}
	panic("planfile: the schema has a field of kind " + x.desc.Kind().String() + ", which plans cannot spell")
}

var decimal = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*|0?\.[0-9]+|(0|[1-9][0-9]*)\.[0-9]*)([eE][-+]?[0-9]+)?$`)

func number(n *yaml.Node) (v protoreflect.Value, want string) {
	tag := n.ShortTag()
	f, err := strconv.ParseFloat(n.Value, 64)
	if tag != "!!int" && tag != "!!float" || !decimal.MatchString(n.Value) || err != nil {
		return v, "must be a plain decimal number, not " + describe(n)
	}
	if f == 0 {
		f = 0 // -0 too: it would differ in the fingerprint and nowhere else
	}
	return protoreflect.ValueOfFloat64(f), ""
}

func truth(n *yaml.Node) (v protoreflect.Value, want string) {
	if n.ShortTag() == "!!bool" && (n.Value == "true" || n.Value == "false") {
		return protoreflect.ValueOfBool(n.Value == "true"), ""
	}
	return v, "must be true or false, not " + describe(n)
}

func choice(n *yaml.Node, words []word) (v protoreflect.Value, want string) {
	for _, w := range words {
		if isText(n) && w.text == n.Value {
			return protoreflect.ValueOfEnum(w.number), ""
		}
	}
	return v, "must be one of " + wordList(words) + ", not " + describe(n)
}

func text(n *yaml.Node) (v protoreflect.Value, want string) {
	if !isText(n) {
		return v, "must be text, not " + describe(n)
	}
	return protoreflect.ValueOfString(n.Value), ""
}

// isText holds for what a person takes for a word or a number.
func isText(n *yaml.Node) bool {
	switch n.ShortTag() {
	case "!!str", "!!int", "!!float", "!!bool", "!!timestamp":
		return n.Kind == yaml.ScalarNode
	}
	return false
}

func isMapping(n *yaml.Node) bool { return n.Kind == yaml.MappingNode && n.ShortTag() == "!!map" }

func isList(n *yaml.Node) bool { return n.Kind == yaml.SequenceNode && n.ShortTag() == "!!seq" }

// describe is a node as an error names it.
func describe(n *yaml.Node) string {
	const quotes = yaml.SingleQuotedStyle | yaml.DoubleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle
	switch {
	case n.Style&yaml.TaggedStyle != 0:
		return "a value tagged " + clip(n.ShortTag())
	case n.Kind == yaml.MappingNode:
		return "a mapping"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Kind == yaml.AliasNode:
		return "an alias"
	case n.Value == "" && n.ShortTag() == "!!null":
		return "nothing"
	case n.Style&quotes != 0:
		return "the text " + strconv.Quote(clip(n.Value))
	case n.ShortTag() == "!!str":
		return strconv.Quote(clip(n.Value))
	}
	return clip(n.Value)
}

// clip keeps what a file says from filling the screen.
func clip(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}
