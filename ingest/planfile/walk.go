package planfile

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
)

const (
	// maxVisits bounds what aliases and merges can unfold to. The longest plan
	// the schema takes, 64 lines merged three deep, 200 fenders and a tide table of
	// 3,000 levels, needs some 20,000.
	maxVisits = 50_000
	// maxMerge bounds merges within merges; an anchor that merges itself ends
	// here too.
	maxMerge = 16
)

// walker fills a message from a node tree.
type walker struct {
	*faults
	// at is where each path stands. A mapping's path with a dot at its end is
	// where its missing keys would go.
	at     map[string]place
	visits int
}

// entry is a key and its value after merging, each where it stands.
type entry struct{ key, value *yaml.Node }

func (w *walker) fault(path string, n *yaml.Node, want string) {
	w.add(fault{placeOf(n), path, want})
}

func placeOf(n *yaml.Node) place { return place{n.Line, n.Column} }

// place is where path stands or would stand.
func (w *walker) place(path string) place {
	if p, ok := w.at[path]; ok {
		return p
	}
	return w.at[path[:strings.LastIndexByte(path, '.')+1]]
}

// spent counts a visit and tells whether the walk is to wind up: the tree
// unfolds too far, which is the one fault then told, or too much is wrong.
func (w *walker) spent(path string, n *yaml.Node) bool {
	w.visits++
	if w.visits == maxVisits {
		w.only(fault{placeOf(n), path, fmt.Sprintf("must hold fewer than %d values, aliases followed", maxVisits)})
	}
	return w.shut
}

func (w *walker) message(path string, n *yaml.Node, f *form, m protoreflect.Message) {
	n = follow(n)
	w.at[path] = placeOf(n)
	if !isMapping(n) {
		w.fault(path, n, "must be a mapping of keys to values, not "+describe(n))
		return
	}
	w.at[join(path, "")] = placeOf(mergeRoot(n))
	stated := map[string]bool{}
	entries, sure := w.entries(path, n)
	for _, e := range entries {
		if w.shut {
			return
		}
		key := e.key.Value
		if stated[key] {
			continue // the nearer value holds over the merged one
		}
		stated[key] = true
		if x := f.byKey[key]; x != nil {
			w.field(join(path, key), e.value, x, m)
		} else {
			w.fault(join(path, clip(key)), e.key, f.unknownKey(key))
			sure = false
		}
	}
	// Beside a key that is not known, a missing one is the same slip told twice.
	if sure {
		w.missing(path, f, stated)
	}
}

func (w *walker) missing(path string, f *form, stated map[string]bool) {
	for _, x := range f.fields {
		if !x.must || stated[x.key] {
			continue
		}
		want := "is required"
		if x.desc.IsList() {
			want = "is required; [] where there are none"
		}
		at := join(path, x.key)
		w.add(fault{w.place(at), at, want})
	}
}

func (w *walker) field(path string, n *yaml.Node, x *field, m protoreflect.Message) {
	if w.spent(path, n) {
		return
	}
	n = follow(n)
	w.at[path] = placeOf(n)
	switch {
	case x.desc.IsList():
		w.list(path, n, x, m)
	case x.form != nil:
		w.message(path, n, x.form, m.Mutable(x.desc).Message())
	default:
		if v, want := scalar(n, x); want != "" {
			w.fault(path, n, want)
		} else {
			m.Set(x.desc, v)
		}
	}
}

func (w *walker) list(path string, n *yaml.Node, x *field, m protoreflect.Message) {
	if !isList(n) {
		w.fault(path, n, "must be a list, not "+describe(n))
		return
	}
	list := m.Mutable(x.desc).List()
	for i, e := range n.Content {
		at := fmt.Sprintf("%s[%d]", path, i)
		if w.spent(at, e) {
			return
		}
		if x.form != nil {
			w.message(at, e, x.form, list.AppendMutable().Message())
			continue
		}
		e = follow(e)
		w.at[at] = placeOf(e)
		if v, want := scalar(e, x); want != "" {
			w.fault(at, e, want)
		} else {
			list.Append(v)
		}
	}
}

// follow is the node itself, or what an alias stands for.
func follow(n *yaml.Node) *yaml.Node {
	if n.Kind == yaml.AliasNode {
		return n.Alias
	}
	return n
}

// join appends a key; the plan as a whole has the empty path.
func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
