// Package readers_test has a report's PDF read by programs that are not ours: qpdf,
// and poppler's pdfinfo, pdffonts and pdftotext. It runs when HAWSER_REAL_SERVERS is 1,
// and then a program that is missing is a failure.
package readers_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"hawser/ingest/simulate/archive"
	"hawser/services/report"
	"hawser/services/stay"
)

func TestMain(m *testing.M) {
	if os.Getenv("HAWSER_REAL_SERVERS") != "1" {
		fmt.Println("tests with other programs run with HAWSER_REAL_SERVERS=1")
		return
	}
	os.Exit(m.Run())
}

// ask runs a program and gives what it prints.
func ask(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

func TestPDFIsReadByOthers(t *testing.T) {
	all, err := archive.Stays(archive.Options{Seed: 1, Days: 1})
	if err != nil {
		t.Fatal(err)
	}
	s := all[len(all)-1]
	_, path, err := s.Write(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	source, err := report.NewRecording(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	f, err := report.Reckon(t.Context(), report.Input{Plan: s.Plan, Fingerprint: "0123456789abcdef", Source: source, Made: s.Departure, Version: "test", FromRecording: true,
		Stay: stay.Stay{ID: s.Name(), Berth: s.Plan.Berth, Ship: s.Plan.Ship.Name, Arrival: s.Arrival, MadeFast: s.MadeFast, LetGo: s.LetGo, Departure: s.Departure,
			Plans: []stay.Use{{Plan: "0123456789abcdef"}}}})
	if err != nil {
		t.Fatal(err)
	}
	d := report.Compose(f)
	data, err := report.PDF(d, f.Made)
	if err != nil {
		t.Fatal(err)
	}
	pdf := filepath.Join(t.TempDir(), "stay.pdf")
	if err := os.WriteFile(pdf, data, 0o600); err != nil {
		t.Fatal(err)
	}

	if out := ask(t, "qpdf", "--check", pdf); !strings.Contains(out, "No syntax or stream encoding errors found") {
		t.Errorf("qpdf: %s", out)
	}
	info := ask(t, "pdfinfo", pdf)
	for _, want := range []string{"Title:           Stay report: " + d.Subtitle, "(A4)", "Encrypted:       no"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo does not say %q:\n%s", want, info)
		}
	}
	for _, font := range strings.Split(strings.TrimSpace(ask(t, "pdffonts", pdf)), "\n")[2:] {
		if !regexp.MustCompile(`Identity-H +yes +(yes|no) +yes`).MatchString(font) {
			t.Errorf("a font that is not whole in the file, or does not say its letters: %s", font)
		}
	}

	// Every title, heading and cell is to be read in the text, and nothing is cut off.
	text := plain(ask(t, "pdftotext", "-raw", pdf, "-"))
	has := func(what, s string) {
		t.Helper()
		if s = plain(s); !strings.Contains(text, s) {
			t.Errorf("%s %q is not in the text", what, s)
		}
	}
	cells := 0
	outline := ask(t, "qpdf", "--qdf", "--object-streams=disable", pdf, "-")
	for k, section := range d.Sections {
		has("title", section.Title)
		if n := fmt.Sprintf("%d  %s", k+1, section.Title); !strings.Contains(outline, utf16Hex(n)) && !strings.Contains(outline, utf16Bytes(n)) {
			t.Errorf("no bookmark %q", n)
		}
		for _, item := range section.Items {
			switch item := item.(type) {
			case report.Para:
				has("paragraph", string(item))
			case report.Table:
				for _, row := range item.Rows {
					for _, c := range row.Cells {
						has("cell", c)
						cells++
					}
				}
			}
		}
	}
	if cells < 100 {
		t.Errorf("%d cells: nothing was tried", cells)
	}
	pages := regexp.MustCompile(`Pages: +(\d+)`).FindStringSubmatch(info)
	if pages == nil {
		t.Fatal(info)
	}
	has("foot", "Page "+pages[1]+" of "+pages[1])
}

// plain is text without the spaces, by which a line's end is as any of them.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" \u00a0\n\f\t", r) {
			return -1
		}
		return r
	}, s)
}

// utf16Bytes is a text as PDF has it in a string: UTF-16, the greater byte first.
func utf16Bytes(s string) string {
	var b strings.Builder
	for _, r := range s {
		b.WriteByte(byte(r >> 8))
		b.WriteByte(byte(r))
	}
	return b.String()
}

func utf16Hex(s string) string { return fmt.Sprintf("%x", utf16Bytes(s)) }
