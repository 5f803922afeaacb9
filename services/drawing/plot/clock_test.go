package plot

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"
)

// The axis tells whole hours as they stand on the zone's clocks, on leap days and on
// days that lack an hour or have one twice. Expected values: the IANA time zone
// database, in which Europe/London went to BST at 01:00 UTC on 31 March 2024 and back
// at 01:00 UTC on 27 October 2024.
func TestClockOnOddDays(t *testing.T) {
	for _, c := range []struct{ zone, from, to, want string }{
		{"UTC", "2024-02-28T12:00:00Z", "2024-03-01T12:00:00Z", "12:00 18:00 29 Feb 06:00 12:00 18:00 1 Mar 06:00 12:00"},
		{"UTC", "2023-02-28T12:00:00Z", "2023-03-01T12:00:00Z", "12:00 15:00 18:00 21:00 1 Mar 03:00 06:00 09:00 12:00"},
		{"Europe/London", "2024-03-30T23:00:00Z", "2024-03-31T06:00:00Z", "23:00 31 Mar 02:00 03:00 04:00 05:00 06:00 07:00"},
		{"Europe/London", "2024-10-26T22:00:00Z", "2024-10-27T05:00:00Z", "23:00 27 Oct 01:00 02:00 03:00 04:00 05:00"},
		{"Europe/London", "2024-03-29T12:00:00Z", "2024-04-04T12:00:00Z", "30 Mar 31 Mar 1 Apr 2 Apr 3 Apr 4 Apr"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		from, _ := time.Parse(time.RFC3339, c.from)
		to, _ := time.Parse(time.RFC3339, c.to)
		var names []string
		last := int64(0)
		for _, m := range clock(from.UnixNano(), to.UnixNano(), zone, 10) {
			names = append(names, m.name)
			if m.at <= last {
				t.Errorf("%s: not in order", c.from)
			}
			last = m.at
		}
		if got := strings.Join(names, " "); got != c.want {
			t.Errorf("%s from %s to %s:\ngot  %s\nwant %s", c.zone, c.from, c.to, got, c.want)
		}
	}
}
