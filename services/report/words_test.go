package report

import (
	"testing"
	"time"
	_ "time/tzdata"
)

// Times with their local time, on a leap day and on the nights on which the clocks are
// changed. Expected: the IANA time zone database; Europe/London went to BST at 01:00
// UTC on 31 March 2024 and back at 01:00 UTC on 27 October 2024, Australia/Lord_Howe
// moves by half an hour, Asia/Kathmandu is at UTC+5:45 and has no letters for it.
func TestLocalTimes(t *testing.T) {
	for _, c := range []struct{ utc, zone, want string }{
		{"2024-02-29T23:30:00Z", "Europe/Berlin", "29 Feb 2024 23:30 UTC (1 Mar 00:30 CET, UTC+1)"},
		{"2023-02-28T23:30:00Z", "Europe/Berlin", "28 Feb 2023 23:30 UTC (1 Mar 00:30 CET, UTC+1)"},
		{"2024-03-01T02:00:00Z", "America/New_York", "1 Mar 2024 02:00 UTC (29 Feb 21:00 EST, UTC−5)"},
		{"2024-03-31T00:59:00Z", "Europe/London", "31 Mar 2024 00:59 UTC (00:59 GMT, UTC+0)"},
		{"2024-03-31T01:00:00Z", "Europe/London", "31 Mar 2024 01:00 UTC (02:00 BST, UTC+1)"},
		{"2024-10-27T00:30:00Z", "Europe/London", "27 Oct 2024 00:30 UTC (01:30 BST, UTC+1)"},
		{"2024-10-27T01:30:00Z", "Europe/London", "27 Oct 2024 01:30 UTC (01:30 GMT, UTC+0)"},
		{"2024-06-01T12:00:00Z", "Asia/Kathmandu", "1 Jun 2024 12:00 UTC (17:45 UTC+5:45)"},
		{"2024-01-15T13:30:00Z", "Australia/Lord_Howe", "15 Jan 2024 13:30 UTC (16 Jan 00:30 UTC+11)"},
		{"2024-06-15T13:30:00Z", "Australia/Lord_Howe", "15 Jun 2024 13:30 UTC (16 Jun 00:00 UTC+10:30)"},
		{"2024-02-29T12:00:00Z", "UTC", "29 Feb 2024 12:00 UTC"},
	} {
		zone, err := Zone(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		if got := (clock{zone}).full(at); got != c.want {
			t.Errorf("%s in %s: %q, want %q", c.utc, c.zone, got, c.want)
		}
	}
	for _, name := range []string{"Local", "Atlantis/Central", "../etc"} {
		if _, err := Zone(name); err == nil {
			t.Errorf("zone %q is taken", name)
		}
	}
}

func TestTimesAndNumbersInWords(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "0 s", 59 * time.Second: "59 s", 470 * time.Second: "7 min 50 s", time.Hour: "1 h",
		3*time.Hour + 59*time.Minute + 40*time.Second: "4 h", 55*time.Hour + 10*time.Minute: "2 d 7 h", 48 * time.Hour: "2 d"} {
		if got := long(d); got != want {
			t.Errorf("%s is told as %q, want %q", time.Duration(d), got, want)
		}
	}
	for _, c := range []struct {
		v    float64
		n    int
		want string
	}{{0, 0, "0"}, {-0.001, 2, "0.00"}, {-0.38, 2, "−0.38"}, {9999, 0, "9999"}, {100940, 0, "100,940"}, {1234567.25, 1, "1,234,567.2"}} {
		if got := digits(c.v, c.n); got != c.want {
			t.Errorf("%v is told as %q, want %q", c.v, got, c.want)
		}
	}
	// 10 m/s are 19.44 kn: the nautical mile is 1852 m (First International
	// Extraordinary Hydrographic Conference, 1929).
	if got := wind(10); got != "10.0 m/s (19 kn)" {
		t.Errorf("wind %q", got)
	}
}
