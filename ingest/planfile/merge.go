package planfile

import (
	"fmt"

	"go.yaml.in/yaml/v3"
)

// entries are a mapping's own keys, then those it merges, nearest first: the
// first of a name is the one that holds. They are sure where nothing about the
// keys themselves was at fault.
func (w *walker) entries(path string, n *yaml.Node) (out []entry, sure bool) {
	u := unfolding{walker: w, path: path, sure: true}
	u.mapping(n, 0)
	return u.out, u.sure
}

type unfolding struct {
	*walker
	path string
	out  []entry
	sure bool
}

func (u *unfolding) doubt(key string, n *yaml.Node, want string) {
	u.fault(join(u.path, clip(key)), n, want)
	u.sure = false
}

func (u *unfolding) mapping(n *yaml.Node, depth int) {
	if depth > maxMerge {
		u.doubt("<<", n, fmt.Sprintf("must not merge itself, nor more than %d deep", maxMerge))
		return
	}
	first := map[string]int{} // own keys: the line of each
	var merged *yaml.Node
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if u.spent(u.path, key) {
			return
		}
		if key.Kind != yaml.ScalarNode {
			u.doubt("", key, "a key must be a word, not "+describe(key))
			continue
		}
		if line, twice := first[key.Value]; twice {
			u.doubt(key.Value, key, fmt.Sprintf("must be given once; it stands on line %d already", line))
			continue
		}
		first[key.Value] = key.Line
		if isMerge(key) {
			merged = value
		} else {
			u.out = append(u.out, entry{key, value})
		}
	}
	if merged == nil {
		return
	}
	for _, p := range mergeParts(merged) {
		if u.spent(u.path, merged) {
			return
		}
		if isMapping(p) {
			u.mapping(p, depth+1)
		} else {
			u.doubt("<<", p, "must be a mapping or a list of mappings to merge, not "+describe(p))
		}
	}
}

func isMerge(key *yaml.Node) bool { return key.ShortTag() == "!!merge" }

// mergeParts are what << names: one mapping, or a list of them of which the
// earlier holds over the later.
func mergeParts(n *yaml.Node) []*yaml.Node {
	n = follow(n)
	if !isList(n) {
		return []*yaml.Node{n}
	}
	parts := make([]*yaml.Node, len(n.Content))
	for i, p := range n.Content {
		parts[i] = follow(p)
	}
	return parts
}

// mergeRoot is where a chain of merges begins: a key that twelve lines inherit
// from one anchor is missing there, once.
func mergeRoot(n *yaml.Node) *yaml.Node {
	for range maxMerge {
		next := n
		for i := 0; i+1 < len(n.Content); i += 2 {
			if !isMerge(n.Content[i]) {
				continue
			}
			if parts := mergeParts(n.Content[i+1]); len(parts) > 0 && isMapping(parts[0]) {
				next = parts[0]
			}
		}
		if next == n {
			break
		}
		n = next
	}
	return n
}
