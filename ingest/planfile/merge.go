package planfile

import (
	"fmt"

	"go.yaml.in/yaml/v3"
)

// entries are a mapping's own keys, then those it merges, nearest first: the
// first of a name is the one that holds.
func (w *walker) entries(path string, n *yaml.Node) []entry {
	return w.unfold(path, n, 0, nil)
}

func (w *walker) unfold(path string, n *yaml.Node, depth int, out []entry) []entry {
	if depth > maxMerge {
		w.fault(path, n, fmt.Sprintf("must not merge more than %d deep", maxMerge))
		return out
	}
	first := map[string]int{} // own keys: the line of each
	var merged *yaml.Node
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if w.spent(path, key) {
			return out
		}
		if key.Kind != yaml.ScalarNode {
			w.fault(path, key, "a key must be a word, not "+describe(key))
			continue
		}
		if line, twice := first[key.Value]; twice {
			w.fault(join(path, clip(key.Value)), key, fmt.Sprintf("must be given once; it stands on line %d already", line))
			continue
		}
		first[key.Value] = key.Line
		if key.ShortTag() == "!!merge" {
			merged = value
			continue
		}
		out = append(out, entry{key, value})
	}
	if merged != nil {
		out = w.merge(path, merged, depth, out)
	}
	return out
}

// merge appends what << names: one mapping, or a list of them of which the
// earlier holds over the later.
func (w *walker) merge(path string, n *yaml.Node, depth int, out []entry) []entry {
	target := follow(n)
	parts := []*yaml.Node{target}
	if isList(target) {
		parts = target.Content
	}
	for _, p := range parts {
		if w.spent(path, n) {
			return out
		}
		p = follow(p)
		if !isMapping(p) {
			w.fault(join(path, "<<"), p, "must be a mapping or a list of mappings to merge, not "+describe(p))
			continue
		}
		out = w.unfold(path, p, depth+1, out)
	}
	return out
}
