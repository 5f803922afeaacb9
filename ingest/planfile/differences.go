package planfile

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	hawserv1 "hawser/proto/hawser/v1"
)

// Difference is one value in which two plans differ, as plans are written. Was or
// Is is empty where one of them does not state it.
type Difference struct {
	// Line is the id of the line that it is of; empty for the rest of the plan.
	Line string `json:"line"`
	// Path is within the line or the plan, such as tail.mbl_kN or ship.loa_m; empty
	// for a line that only one of them has.
	Path string `json:"path"`
	Was  string `json:"was"`
	Is   string `json:"is"`
}

// Differences lists what differs between two plans, in the schema's order. Lines
// are told by their ids, so that one put in at the top is one difference.
func Differences(was, is *hawserv1.MooringPlan) []Difference {
	var d differences
	d.message("", planForm(), was.ProtoReflect(), is.ProtoReflect())
	d.lines(was.GetLines(), is.GetLines())
	return d.found
}

type differences struct {
	line  string
	found []Difference
}

func (d *differences) note(path, was, is string) {
	if was != is {
		d.found = append(d.found, Difference{d.line, path, was, is})
	}
}

// message compares field by field. The plan's own list of lines is left out.
func (d *differences) message(path string, f *form, was, is protoreflect.Message) {
	for _, x := range f.fields {
		at := strings.TrimPrefix(path+"."+x.key, ".")
		a, b := was.Has(x.desc), is.Has(x.desc)
		switch {
		case x.form != nil && x.desc.IsList():
			if at != "lines" {
				d.list(at, x, was.Get(x.desc).List(), is.Get(x.desc).List())
			}
		case x.form != nil && a && b:
			d.message(at, x.form, was.Get(x.desc).Message(), is.Get(x.desc).Message())
		default:
			d.note(at, written(x, was, a), written(x, is, b))
		}
	}
}

// list compares values that have only their place to be told by.
func (d *differences) list(path string, x *field, was, is protoreflect.List) {
	for i := range max(was.Len(), is.Len()) {
		at := fmt.Sprintf("%s[%d]", path, i)
		switch {
		case i >= was.Len():
			d.note(at, "", summary(x.form, is.Get(i).Message()))
		case i >= is.Len():
			d.note(at, summary(x.form, was.Get(i).Message()), "")
		default:
			d.message(at, x.form, was.Get(i).Message(), is.Get(i).Message())
		}
	}
}

// lines compares lines by their ids: those of the new plan in its order, then those
// that are gone.
func (d *differences) lines(was, is []*hawserv1.Line) {
	f := planForm().byKey["lines"].form
	before := map[string]*hawserv1.Line{}
	for _, l := range was {
		before[l.GetId()] = l
	}
	for _, l := range is {
		d.line = l.GetId()
		old, ok := before[l.GetId()]
		if !ok {
			d.note("", "", summary(f, l.ProtoReflect()))
			continue
		}
		delete(before, l.GetId())
		d.message("", f, old.ProtoReflect(), l.ProtoReflect())
	}
	for _, l := range was {
		if _, gone := before[l.GetId()]; gone {
			d.line = l.GetId()
			d.note("", summary(f, l.ProtoReflect()), "")
		}
	}
	d.line = ""
}

// written is a field's value as plans have it, "" where it is not stated.
func written(x *field, m protoreflect.Message, stated bool) string {
	switch {
	case x.form != nil:
		if !stated {
			return ""
		}
		return summary(x.form, m.Get(x.desc).Message())
	case x.desc.IsList():
		list := m.Get(x.desc).List()
		values := make([]string, list.Len())
		for i := range values {
			values[i] = single(x, list.Get(i)).Value
		}
		return "[" + strings.Join(values, ", ") + "]"
	case !stated && !x.must:
		return ""
	}
	return single(x, m.Get(x.desc)).Value
}

// summary is a block in one line: what is stated in it, blocks within left out.
func summary(f *form, m protoreflect.Message) string {
	var parts []string
	for _, x := range f.fields {
		if x.form == nil {
			if v := written(x, m, m.Has(x.desc)); v != "" {
				parts = append(parts, x.key+": "+v)
			}
		}
	}
	return strings.Join(parts, ", ")
}
