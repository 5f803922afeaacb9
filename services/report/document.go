package report

import "hawser/services/drawing/plot"

// Document is a report as it is set, whatever it is set in.
type Document struct {
	Title, Subtitle string
	Running         string // heads every page after the first
	Foot            string // at the foot of every page
	Head            []Fact // the title block
	Sections        []Section
}

// Fact is something and what it is.
type Fact struct{ Name, Value string }

// Section is a part with a title.
type Section struct {
	Title string
	Items []Item
}

// Item is one of Para, Notice, Tiles, Table and Plot.
type Item interface{ item() }

// Para is a paragraph.
type Para string

// Notice is a paragraph that stands out.
type Notice string

// Tiles are key figures side by side.
type Tiles []Tile

// Tile is one key figure.
type Tile struct{ Name, Value, More string }

// Table has a caption, columns and rows.
type Table struct {
	Caption string
	Columns []Column
	Rows    []Row
}

// Column is one column of a table: its parts of the width, and how it stands.
type Column struct {
	Name  string
	Parts float64
	Right bool // figures
}

func text(name string, parts float64) Column   { return Column{Name: name, Parts: parts} }
func number(name string, parts float64) Column { return Column{Name: name, Parts: parts, Right: true} }

// Row is one row; a strong one is a heading among the others.
type Row struct {
	Cells  []string
	Strong bool
}

// Plot is a figure with its caption.
type Plot struct {
	Figure  *plot.Figure
	Caption string
}

func (Para) item()   {}
func (Notice) item() {}
func (Tiles) item()  {}
func (Table) item()  {}
func (Plot) item()   {}

// sheetWidth is the width of text and plots, in the units of package plot: 174 mm.
const sheetWidth = 174 / 25.4 * 96
