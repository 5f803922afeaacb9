package parameter_test

import (
	"testing"
	"time"

	"hawser/services/parameter"
)

// Times by the examples of RFC 3339, section 5.8.
func TestRead(t *testing.T) {
	for query, want := range map[string]string{
		"berth=east-3&from=1985-04-12T23:20:50.52Z&retired=true": "",
		"from=1996-12-19T16:39:57-08:00":                         "berth: must be given",
		"berth=":                                                 "berth: must be given",
		"berth=a&berth=b":                                        "berth: given 2 times",
		"berth=a&colour=red":                                     "colour: no such parameter; there are berth, from, draft and retired",
		"berth=a&from=yesterday":                                 `from: "yesterday" is no RFC 3339 time`,
		"berth=a&draft=8.2":                                      "",
		"berth=a&draft=deep":                                     "draft: must be a number",
		"berth=a&retired=perhaps":                                `retired: "perhaps" is neither true nor false`,
		"berth=%zz":                                              `query: invalid URL escape "%zz"`,
	} {
		said := ""
		if err := read(query); err != nil {
			said = err.Error()
		}
		if said != want {
			t.Errorf("%s: %q, want %q", query, said, want)
		}
	}
	v, err := parameter.Read("from=1996-12-19T16:39:57-08:00", "from", "to")
	if err != nil {
		t.Fatal(err)
	}
	from, err := v.Time("from")
	if want := time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC); err != nil || !from.Equal(want) {
		t.Errorf("from %s, %v; want %s", from, err, want)
	}
	if to, err := v.Time("to"); err != nil || !to.IsZero() {
		t.Errorf("to %s, %v", to, err)
	}
}

func read(query string) error {
	v, err := parameter.Read(query, "berth", "from", "draft", "retired")
	if err != nil {
		return err
	}
	if err := v.Need("berth"); err != nil {
		return err
	}
	if _, err := v.Time("from"); err != nil {
		return err
	}
	if _, err := v.Number("draft"); err != nil {
		return err
	}
	_, err = v.Bool("retired")
	return err
}
