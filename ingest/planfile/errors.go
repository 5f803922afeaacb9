package planfile

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Error is one fault in a plan.
type Error struct {
	File string // as named to Load or Parse; empty for a message
	Line int    // from 1; 0 for a message
	Col  int    // of its first character, from 1; 0 for a message
	Path string // such as lines[3].mbl_kN; empty for the plan as a whole
	Want string // what was expected, and what stands there instead
}

// Error is file:line: path: want, without the parts that are not known.
func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		fmt.Fprintf(&b, "%s:", e.File)
		if e.Line > 0 {
			fmt.Fprintf(&b, "%d:", e.Line)
		}
		b.WriteByte(' ')
	}
	if e.Path != "" {
		fmt.Fprintf(&b, "%s: ", e.Path)
	}
	b.WriteString(e.Want)
	return b.String()
}

// Each gives the faults that an error of this package joins, none for another error.
func Each(err error) []*Error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*Error
		for _, err := range joined.Unwrap() {
			all = append(all, Each(err)...)
		}
		return all
	}
	var one *Error
	if errors.As(err, &one) {
		return []*Error{one}
	}
	return nil
}

const (
	toldFaults = 5   // then their number: nobody reads further
	keptFaults = 100 // a plan this wrong is another kind of file: reading stops
)

// place is where something stands in the file, both counted from 1.
type place struct{ line, col int }

// fault is an Error before its file is known.
type fault struct {
	place
	path, want string
}

// faults collects the faults of one file. A value used through an anchor by
// twelve lines is wrong once: the same complaint about the same place counts
// for the first path only.
type faults struct {
	file string
	list []fault
	shut bool // nothing further is worth telling
}

func (f *faults) add(x fault) {
	if f.shut {
		return
	}
	for _, y := range f.list {
		if x.line > 0 && x.place == y.place && x.want == y.want && lastKey(x.path) == lastKey(y.path) {
			return
		}
	}
	f.list = append(f.list, x)
	f.shut = len(f.list) >= keptFaults
}

// only makes x the one fault, for a file that is not worth going through.
func (f *faults) only(x fault) {
	f.list, f.shut = []fault{x}, true
}

func lastKey(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// err is nil where nothing is wrong, otherwise the first faults in the file's
// order, joined.
func (f *faults) err() error {
	if len(f.list) == 0 {
		return nil
	}
	slices.SortStableFunc(f.list, func(a, b fault) int {
		return cmp.Or(cmp.Compare(a.line, b.line), cmp.Compare(a.col, b.col))
	})
	var errs []error
	for _, x := range f.list[:min(len(f.list), toldFaults)] {
		errs = append(errs, &Error{File: f.file, Line: x.line, Col: x.col, Path: x.path, Want: x.want})
	}
	if n := len(f.list) - len(errs); n > 0 {
		count := "and %d more"
		if f.shut {
			count = "and at least %d more"
		}
		errs = append(errs, &Error{File: f.file, Want: fmt.Sprintf(count, n)})
	}
	return errors.Join(errs...)
}
