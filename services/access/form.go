package access

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"sort"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
)

// form reads a YAML file strictly: every key is known and stands once, every
// value is of its kind, and each fault is told with its line and its path.
type form struct {
	file   string
	from   *sources // where it and the files it names are read
	faults []fault
}

type fault struct {
	line int
	text string
}

// toldFaults is how many are told; who mends those will ask again.
const toldFaults = 5

func (f *form) fail(n *yaml.Node, at, format string, args ...any) {
	if at != "" {
		at += ": "
	}
	f.faults = append(f.faults, fault{n.Line, at + fmt.Sprintf(format, args...)})
}

// err is the first faults in the file's order, nil for none.
func (f *form) err() error {
	slices.SortStableFunc(f.faults, func(a, b fault) int { return a.line - b.line })
	var errs []error
	for i, x := range f.faults {
		if i == toldFaults {
			errs = append(errs, fmt.Errorf("%s: and %d more", f.file, len(f.faults)-i))
			break
		}
		errs = append(errs, fmt.Errorf("%s:%d: %s", f.file, x.line, x.text))
	}
	return errors.Join(errs...)
}

// document is the root of the file's one document, nil after a fault.
func (f *form) document(data []byte) *yaml.Node {
	first, second, err := documents(data)
	switch {
	case first == nil && errors.Is(err, io.EOF):
		f.fail(&yaml.Node{Line: 1}, "", "is empty")
	case err != nil:
		f.fail(&yaml.Node{Line: errorLine(data, err)}, "", "is no YAML: %s", yamlPrefix.ReplaceAllString(err.Error(), ""))
	case second != nil:
		f.fail(second, "", "a second document begins here; there can be one")
	default:
		return first
	}
	return nil
}

// documents reads the root of the first document and finds a second, nil for none.
func documents(data []byte) (first, second *yaml.Node, err error) {
	d := yaml.NewDecoder(bytes.NewReader(data))
	var one, two yaml.Node
	if err := d.Decode(&one); err != nil {
		return nil, nil, err
	}
	switch err := d.Decode(&two); {
	case errors.Is(err, io.EOF):
		return one.Content[0], nil, nil
	case err != nil:
		return nil, nil, err
	}
	return one.Content[0], &two, nil
}

var yamlPrefix = regexp.MustCompile(`^yaml: (line \d+: )?`)

// errorLine is the line at which the parser cannot go on, which it does not tell
// itself: the last of the shortest text that breaks in the same way.
func errorLine(data []byte, err error) int {
	lines := bytes.SplitAfter(data, []byte("\n"))
	return 1 + sort.Search(len(lines)-1, func(i int) bool {
		_, _, e := documents(bytes.Join(lines[:i+1], nil))
		return e != nil && e.Error() == err.Error()
	})
}

// fields reads a mapping of known keys, those of need among them. It reports
// whether n is one.
func (f *form) fields(n *yaml.Node, at string, keys map[string]func(n *yaml.Node, at string), need ...string) bool {
	if n.Kind != yaml.MappingNode {
		f.fail(n, at, "must be a mapping of %s", names(keys))
		return false
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		read := keys[key.Value]
		switch line, twice := seen[key.Value]; {
		case read == nil:
			f.fail(key, join(at, key.Value), "no such key; there are %s", names(keys))
		case twice:
			f.fail(key, join(at, key.Value), "stands on line %d already", line)
		default:
			read(value, join(at, key.Value))
		}
		seen[key.Value] = key.Line
	}
	for _, key := range need {
		if seen[key] == 0 {
			f.fail(n, join(at, key), "must be given")
		}
	}
	return true
}

// items reads a sequence of one to most items.
func (f *form) items(n *yaml.Node, at string, most int, read func(n *yaml.Node, at string)) {
	switch {
	case n.Kind != yaml.SequenceNode || len(n.Content) == 0:
		f.fail(n, at, "must be a list")
		return
	case len(n.Content) > most:
		f.fail(n, at, "has %d entries, at most %d", len(n.Content), most)
		return
	}
	for i, item := range n.Content {
		read(item, fmt.Sprintf("%s[%d]", at, i))
	}
}

// text reads a string of at most so many bytes; it is "" after a fault.
func (f *form) text(n *yaml.Node, at string, most int) string {
	switch {
	case n.Kind != yaml.ScalarNode || n.ShortTag() == "!!null" || n.Value == "":
		f.fail(n, at, "must be text")
		return ""
	case len(n.Value) > most:
		f.fail(n, at, "is %d bytes long, at most %d", len(n.Value), most)
		return ""
	}
	return n.Value
}

// once wants a value not to have stood on an earlier line.
func (f *form) once(n *yaml.Node, at string, seen map[string]int, value string) {
	if line := seen[value]; line > 0 && value != "" {
		f.fail(n, at, "%q stands on line %d already", value, line)
	}
	seen[value] = n.Line
}

func (f *form) time(n *yaml.Node, at string) time.Time {
	t, err := time.Parse(time.RFC3339, n.Value)
	if err != nil {
		f.fail(n, at, "%q is no RFC 3339 time such as 2026-12-31T00:00:00Z", n.Value)
	}
	return t
}

func join(at, key string) string {
	if at == "" {
		return key
	}
	return at + "." + key
}

func names(keys map[string]func(*yaml.Node, string)) string {
	return strings.Join(slices.Sorted(maps.Keys(keys)), ", ")
}
