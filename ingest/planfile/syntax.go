package planfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sort"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// parse is the root node of the one YAML document in data.
func parse(data []byte) (*yaml.Node, *fault) {
	if len(data) > MaxBytes {
		return nil, whole(1, fmt.Sprintf("must be at most %d bytes", MaxBytes))
	}
	if !utf8.Valid(data) {
		return nil, whole(invalidLine(data), "must be text in UTF-8")
	}
	if line := tabLine(data); line > 0 {
		return nil, whole(line, "must be indented with spaces, not tabs")
	}
	root, second, err := documents(data)
	switch {
	case errors.Is(err, io.EOF), err == nil && second == 0 && root.ShortTag() == "!!null":
		return nil, whole(1, "must hold a plan, not nothing")
	case err != nil:
		return nil, whole(errorLine(data, err), "must be YAML: "+bareText(err))
	case second > 0:
		return nil, whole(second, "must be the end: a file holds one plan, and here a second document starts")
	}
	return root, nil
}

func whole(line int, want string) *fault { return &fault{place: place{line, 1}, want: want} }

// documents reads the first document and finds the line of a second, 0 for none.
func documents(data []byte) (root *yaml.Node, second int, err error) {
	d := yaml.NewDecoder(bytes.NewReader(data))
	var first, next yaml.Node
	if err := d.Decode(&first); err != nil {
		return nil, 0, err
	}
	switch err := d.Decode(&next); {
	case errors.Is(err, io.EOF):
		return first.Content[0], 0, nil
	case err != nil:
		return nil, 0, err
	default:
		return nil, next.Line, nil
	}
}

// errorLine is the line at which the parser cannot go on. The parser itself
// names the start of the enclosing block, one line off for half of its errors,
// and for some no line at all. But it reads from left to right: the line asked
// for is the last of the shortest text that breaks in the same way.
func errorLine(data []byte, err error) int {
	var ends []int
	for i, c := range data {
		if c == '\n' {
			ends = append(ends, i+1)
		}
	}
	ends = append(ends, len(data))
	return 1 + sort.Search(len(ends)-1, func(i int) bool {
		_, _, e := documents(data[:ends[i]])
		return e != nil && e.Error() == err.Error()
	})
}

var parserPrefix = regexp.MustCompile(`^yaml: (line \d+: )?`)

func bareText(err error) string { return parserPrefix.ReplaceAllString(err.Error(), "") }

// tabLine is the first line whose indentation has a tab, 0 for none.
func tabLine(data []byte) int {
	line := 1
	for text := range bytes.Lines(data) {
		indent := text[:len(text)-len(bytes.TrimLeft(text, " \t"))]
		if bytes.IndexByte(indent, '\t') >= 0 {
			return line
		}
		line++
	}
	return 0
}

func invalidLine(data []byte) int {
	line := 1
	for text := range bytes.Lines(data) {
		if !utf8.Valid(text) {
			break
		}
		line++
	}
	return line
}
