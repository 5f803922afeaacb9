package recording_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"hawser/ingest/recording"
)

const top = "time,channel,value\n"

// The forms of the file that are taken. Expected blocks worked out by hand.
func TestForm(t *testing.T) {
	const want = "until 2.5: 7/tension.1 2=88.5 2.5=88\n"
	for _, c := range []struct{ name, in, want string }{
		{"milliseconds", top + "2000,7/tension,88.5\n2500,7/tension,88.0\n", want},
		{"RFC 3339", top + "1970-01-01T00:00:02.000Z,7/tension,88.5\n1970-01-01T00:00:02.500Z,7/tension,88.0\n", want},
		{"fraction as long as it needs", top + "1970-01-01T00:00:02Z,7/tension,88.5\n1970-01-01T00:00:02.5Z,7/tension,88.0\n", want},
		{"nine digits of a second", top + "1970-01-01T00:00:02.123456789Z,7/tension,1\n", "until 2.123456789: 7/tension.0 2.123456789=1\n"},
		{"more digits than nanoseconds have", top + "1970-01-01T00:00:02.1234567899Z,7/tension,1\n", "until 2.123456789: 7/tension.0 2.123456789=1\n"},
		{"UTC as an offset, small letters", top + "1970-01-01T00:00:02+00:00,7/tension,88.5\n1970-01-01t00:00:02.5z,7/tension,88.0\n", want},
		{"CRLF", "time,channel,value\r\n2000,7/tension,88.5\r\n2500,7/tension,88.0\r\n", want},
		{"byte order mark", "\ufeff" + top + "2000,7/tension,88.5\n2500,7/tension,88.0\n", want},
		{"no end of the last line", top + "2000,7/tension,88.5\n2500,7/tension,88.0", want},
		{"blank lines", top + "\n2000,7/tension,88.5\n\r\n2500,7/tension,88.0\n\n", want},
		{"quoted", `"time","channel",value` + "\n" + `"2000","7/tension","88.5"` + "\n2500,\"7/tension\",88.0\n", want},
		{"quoted with a comma and a quote", top + `2000,7/tension,"8,5"` + "\n" + `2500,7/tension,"8""5"` + "\n", "until 2.5: 7/tension.0 2=0B 2.5=0B\n"},
		{"a quote within", top + `2000,7/tension,8"5` + "\n", "until 2: 7/tension.0 2=0B\n"},
		{"header only", top, ""},
		{"header without end", "time,channel,value", ""},
		{"all channels", top + "1,7/tension,1\n1,7/payout,1\n1,7/brake,1\n1,wind/speed,1\n1,wind/direction,1\n1,water/level,1\n" +
			"1,ship/draft-fwd,1\n1,ship/draft-aft,1\n1,berth/watch,1\n", "until 0.001: 7/brake.0 0.001=1; 7/payout.0 0.001=1; 7/tension.0 0.001=1; " +
			"berth/watch.0 0.001=1; ship/draft-aft.0 0.001=1; ship/draft-fwd.0 0.001=1; water/level.0 0.001=1; wind/direction.0 0.001=1; wind/speed.0 0.001=1\n"},
		{"leap day", top + "2024-02-29T00:00:00Z,7/tension,1\n", "until 1709164800: 7/tension.0 1709164800=1\n"}, // date -d 2024-02-29Z +%s
		{"last moment", top + "2261-12-31T23:59:59.999Z,7/tension,1\n", "until 9214646399.999: 7/tension.0 9214646399.999=1\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			blocks, _ := read(t, strings.NewReader(c.in), recording.Options{})
			if got := text(blocks); got != c.want {
				t.Fatalf("got  %swant %s", got, c.want)
			}
			var packed bytes.Buffer
			z := gzip.NewWriter(&packed)
			if _, err := io.WriteString(z, c.in); err != nil || z.Close() != nil {
				t.Fatal(err)
			}
			blocks, _ = read(t, &packed, recording.Options{})
			if got := text(blocks); got != c.want {
				t.Fatalf("gzip: got  %swant %s", got, c.want)
			}
		})
	}
}

func TestMalformed(t *testing.T) {
	const rows = "2000,7/tension,88.5\n"
	const wantRFC = "RFC 3339 in UTC such as 2026-03-01T04:05:06.700Z"
	const wantMillis = "whole Unix milliseconds such as 1772337906700"
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", `x.csv:1: empty file, expected the header "time,channel,value"`},
		{"no header", rows, `x.csv:1: header "2000,7/tension,88.5", expected "time,channel,value"`},
		{"other header", "time;channel;value\n", `x.csv:1: header "time;channel;value", expected "time,channel,value"`},
		{"a column more", "time,channel,value,unit\n", `x.csv:1: header "time,channel,value,unit", expected "time,channel,value"`},
		{"capital letters", "Time,Channel,Value\n", `x.csv:1: header "Time,Channel,Value", expected "time,channel,value"`},
		{"UTF-16", "\xff\xfet\x00i\x00m\x00e\x00\n", `x.csv:1: header "\xff\xfet\x00i\x00m\x00e\x00", expected "time,channel,value"`},
		{"old line ends", strings.ReplaceAll(top+rows, "\n", "\r"), `x.csv:1: header "time,channel,value\r2000,7/tension,88.5", expected "time,channel,value"`},
		{"two fields", top + rows + "2000,7/tension\n", "x.csv:3: 2 fields, expected 3: time,channel,value"},
		{"four fields", top + rows + "2000,7/tension,88,5\n", "x.csv:3: 4 fields, expected 3: time,channel,value"},
		{"line of zeros", top + rows + strings.Repeat("\x00", 30) + "\n", "x.csv:3: 1 fields, expected 3: time,channel,value"},
		{"torn row", top + rows + "20", "x.csv:3: 1 fields, expected 3: time,channel,value"},
		{"no time", top + ",7/tension,88.5\n", `x.csv:2: time "", expected ` + wantRFC + " or " + wantMillis},
		{"NUL in a time", top + rows + "20\x0000,7/tension,1\n", `x.csv:3: time "20\x0000", expected ` + wantMillis},
		{"fraction of a millisecond", top + "2000.5,7/tension,1\n", `x.csv:2: time "2000.5", expected ` + wantRFC + " or " + wantMillis},
		{"blank in a time", top + rows + " 2001,7/tension,1\n", `x.csv:3: time " 2001", expected ` + wantMillis},
		{"forms mixed", top + rows + "1970-01-01T00:00:02.5Z,7/tension,1\n", `x.csv:3: time "1970-01-01T00:00:02.5Z", expected ` + wantMillis + ", the form of the rows above"},
		{"forms mixed the other way", top + "1970-01-01T00:00:02.5Z,7/tension,1\n2600,7/tension,1\n", `x.csv:3: time "2600", expected ` + wantRFC + ", the form of the rows above"},
		{"other zone", top + "2026-03-01T04:05:06+01:00,7/tension,1\n", `x.csv:2: time "2026-03-01T04:05:06+01:00", expected ` + wantRFC + " or " + wantMillis},
		{"no zone", top + "2026-03-01T04:05:06.700,7/tension,1\n", `x.csv:2: time "2026-03-01T04:05:06.700", expected ` + wantRFC + " or " + wantMillis},
		{"no such day", top + "1970-01-01T00:00:02Z,7/tension,1\n2026-02-29T04:05:06Z,7/tension,1\n", `x.csv:3: time "2026-02-29T04:05:06Z", expected ` + wantRFC},
		{"no such hour", top + "2026-03-01T24:05:06Z,7/tension,1\n", `x.csv:2: time "2026-03-01T24:05:06Z", expected ` + wantRFC + " or " + wantMillis},
		{"leap second", top + "2016-12-31T23:59:60Z,7/tension,1\n", `x.csv:2: time "2016-12-31T23:59:60Z", expected ` + wantRFC + " or " + wantMillis},
		{"time 0", top + "0,7/tension,1\n", `x.csv:2: time "0": expected a time from 1970 to 2261`},
		{"before 1970", top + "1969-12-31T23:59:59Z,7/tension,1\n", `x.csv:2: time "1969-12-31T23:59:59Z": expected a time from 1970 to 2261`},
		{"nanoseconds taken for milliseconds", top + "1772337906700000000,7/tension,1\n", `x.csv:2: time "1772337906700000000": expected a time from 1970 to 2261`},
		{"year 9999", top + "9999-01-01T00:00:00Z,7/tension,1\n", `x.csv:2: time "9999-01-01T00:00:00Z": expected a time from 1970 to 2261`},
		{"header again", top + rows + top, `x.csv:3: time "time", expected ` + wantMillis},
		{"open quote", top + rows + "2000,\"7/tension,1\n2000,7/tension,1\n", `x.csv:3: extraneous or missing " in quoted-field`},
		{"text after a quote", top + rows + "2000,\"7\"/tension,1\n", `x.csv:3: extraneous or missing " in quoted-field`},
		{"endless line", top + rows + strings.Repeat("9", 5000), "x.csv:3: line of over 4096 bytes"},
		{"long line", top + rows + "1,7/tension," + strings.Repeat("9", 4085) + "\n", "x.csv:3: line of over 4096 bytes"},
		{"gzip's magic only", "\x1f\x8b", "x.csv:1: gzip data is cut short: unexpected EOF"},
		{"gzip's magic before text", "\x1f\x8b" + top + rows, "x.csv:1: gzip data is damaged: gzip: invalid header"},
	} {
		t.Run(c.name, func(t *testing.T) {
			blocks, err := ended(t, "x.csv", strings.NewReader(c.in))
			if err == nil || err.Error() != c.want {
				t.Fatalf("got  %v\nwant %s", err, c.want)
			}
			// The row before the fault is there.
			want := ""
			if strings.HasPrefix(c.in, top+rows) {
				want = "until 2: 7/tension.1 2=88.5\n"
			}
			if got := text(blocks); want != "" && got != want {
				t.Fatalf("got %q, want %q", got, want)
			}
		})
	}
}

// A gzip file cut short anywhere gives the rows that can be unpacked, then an
// error that says so.
func TestCutShort(t *testing.T) {
	whole, rows := berthRecording(t, 30, recording.WriterOptions{Gzip: true})
	for cut := 10; cut < len(whole); cut += 97 {
		blocks, err := ended(t, "x.csv.gz", bytes.NewReader(whole[:cut]))
		if err == nil || !strings.Contains(err.Error(), "gzip data is cut short: unexpected EOF") {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		n := 0
		for _, b := range blocks {
			n += b.Samples()
		}
		// The row in error is the first that is not there; line 1 is the header.
		if err.Line != max(n+2, 1) && n > 0 || n > rows {
			t.Fatalf("cut at %d: %d rows given, error on line %d", cut, n, err.Line)
		}
	}
	whole[len(whole)-6] ^= 1 // in the checksum
	if _, err := ended(t, "x.csv.gz", bytes.NewReader(whole)); err == nil || !strings.Contains(err.Error(), "gzip data is damaged: gzip: invalid checksum") {
		t.Fatal(err)
	}
}

func TestReaderFails(t *testing.T) {
	broken := errors.New("disk on fire")
	in := io.MultiReader(strings.NewReader(top+"2000,7/tension,88.5\n2500,7/ten"), iotest.ErrReader(broken))
	blocks, err := ended(t, "x.csv", in)
	if err == nil || err.Error() != "x.csv:3: disk on fire" || !errors.Is(err, broken) {
		t.Fatal(err)
	}
	if got := text(blocks); got != "until 2: 7/tension.1 2=88.5\n" {
		t.Fatal(got)
	}
	if _, err := ended(t, "x.csv", iotest.ErrReader(broken)); err == nil || err.Error() != "x.csv:1: disk on fire" {
		t.Fatal(err)
	}
}

func TestOpen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv")
	if _, err := recording.Open(path, recording.Options{}); !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	must(t, os.WriteFile(path, []byte(top+"2000,7/tension,88.5\n"), 0o600))
	r, err := recording.Open(path, recording.Options{})
	must(t, err)
	if _, err := readAll(t, r); err != nil {
		t.Fatal(err)
	}
	if s := r.Stats(); s.BytesTotal != 39 || s.BytesRead != 39 {
		t.Fatalf("%+v", s)
	}
	must(t, errors.Join(r.Close(), r.Close()))
	must(t, os.WriteFile(path, []byte("nothing\n"), 0o600))
	var located *recording.Error
	if _, err := recording.Open(path, recording.Options{}); !errors.As(err, &located) || located.Name != path || located.Line != 1 {
		t.Fatal(err)
	}
	if _, err := recording.Open(path, recording.Options{Window: 1}); err == nil || err.Error() != "recording window is 1ns, expected 100ms to 1m" {
		t.Fatal(err)
	}
}
