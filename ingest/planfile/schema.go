package planfile

import (
	"strings"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	hawserv1 "hawser/proto/hawser/v1"
)

// form is how one message of the schema is written as a mapping.
type form struct {
	fields []*field // in the schema's order
	byKey  map[string]*field
}

type field struct {
	desc  protoreflect.FieldDescriptor
	key   string
	must  bool // has to be stated
	form  *form
	words []word
}

// word is an enum value as plans spell it.
type word struct {
	text   string
	number protoreflect.EnumNumber
}

// planForm is read from the descriptor once, on first use.
var planForm = sync.OnceValue(func() *form {
	return formOf((&hawserv1.MooringPlan{}).ProtoReflect().Descriptor())
})

func formOf(d protoreflect.MessageDescriptor) *form {
	f := &form{byKey: map[string]*field{}}
	for i := range d.Fields().Len() {
		fd := d.Fields().Get(i)
		x := &field{desc: fd, key: fd.JSONName(), must: mustBeStated(fd)}
		switch fd.Kind() {
		case protoreflect.MessageKind:
			x.form = formOf(fd.Message())
		case protoreflect.EnumKind:
			x.words = wordsOf(fd.Enum())
		}
		f.fields = append(f.fields, x)
		f.byKey[x.key] = x
	}
	return f
}

// mustBeStated holds for fields whose absence the message could not tell from
// zero, and for those the schema requires.
func mustBeStated(fd protoreflect.FieldDescriptor) bool {
	if rules, err := protovalidate.ResolveFieldRules(fd); err == nil && rules.GetRequired() {
		return true
	}
	return !fd.HasPresence() && (fd.IsList() || fd.Kind() != protoreflect.EnumKind)
}

// wordsOf leaves out the unspecified value, whose name gives the prefix.
func wordsOf(d protoreflect.EnumDescriptor) []word {
	prefix := strings.TrimSuffix(string(d.Values().ByNumber(0).Name()), "UNSPECIFIED")
	var words []word
	for i := range d.Values().Len() {
		v := d.Values().Get(i)
		if v.Number() == 0 {
			continue
		}
		text := strings.ToLower(strings.TrimPrefix(string(v.Name()), prefix))
		words = append(words, word{strings.ReplaceAll(text, "_", "-"), v.Number()})
	}
	return words
}

func wordList(words []word) string {
	texts := make([]string, len(words))
	for i, w := range words {
		texts[i] = w.text
	}
	return strings.Join(texts, ", ")
}

var hyphens = strings.NewReplacer("_", "", "-", "")

func bare(key string) string { return hyphens.Replace(strings.ToLower(key)) }

// unknownKey says what was meant, where only case or hyphens differ, or else
// what there is.
func (f *form) unknownKey(key string) string {
	keys := make([]string, len(f.fields))
	for i, x := range f.fields {
		keys[i] = x.key
		if bare(x.key) == bare(key) {
			return "unknown key; " + x.key + " is spelt so"
		}
	}
	return "unknown key; the keys here are " + strings.Join(keys, ", ")
}
