package recording_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hawser/detect/reading"
	"hawser/ingest/recording"
)

// One series' values from one window.
func values(t rapid.TB, texts ...string) reading.Series {
	t.Helper()
	var in strings.Builder
	in.WriteString(top)
	for i, v := range texts {
		fmt.Fprintf(&in, "%d,7/tension,%s\n", 1000+i, v)
	}
	blocks, stats := read(t, strings.NewReader(in.String()), recording.Options{})
	if len(blocks) != 1 || len(blocks[0].Series) != 1 || blocks[0].Series[0].Len() != len(texts) || stats.Rows != uint64(len(texts)) {
		t.Fatalf("%q gives %s, %+v", texts, text(blocks), stats)
	}
	return blocks[0].Series[0]
}

func TestBadValues(t *testing.T) {
	for _, v := range []string{
		"NaN", "nan", "-NaN", "Inf", "-Inf", "+inf", "Infinity", "", " ", "#ERR", "n/a", "null", "-", "+", ".", "-.", "1.2.3", "1..2",
		"--1", "1-", "1e", "e5", "1e+", "1e5.5", "0x10", "0x1p3", "1_000", "1 000", "12kN", "1e999", "-1e999", "1.5f", "½", "\x00", "8\x005",
	} {
		s := values(t, "88.5", v, "88.5")
		if s.QualityAt(1) != reading.Bad || s.Value[1] != 0 || s.QualityAt(0) != reading.Good || s.QualityAt(2) != reading.Good {
			t.Errorf("%q gives %v, %v", v, s.Value, s.Quality)
		}
		if s.Decimals != 1 {
			t.Errorf("%q beside 88.5 gives %d decimals", v, s.Decimals)
		}
	}
	if s := values(t, "NaN", ""); s.Decimals != 0 {
		t.Errorf("bad readings alone have %d decimals", s.Decimals)
	}
}

// Every decimal number is the float64 that strconv makes of it.
func TestGoodValues(t *testing.T) {
	check := func(t rapid.TB, v string) {
		t.Helper()
		want, err := strconv.ParseFloat(strings.TrimSpace(v), 64)
		must(t, err)
		if want == 0 {
			want = 0 // a zero has no sign
		}
		s := values(t, v)
		if math.Float64bits(s.Value[0]) != math.Float64bits(want) || s.QualityAt(0) != reading.Good {
			t.Fatalf("%q gives %v, quality %d; want %v", v, s.Value[0], s.QualityAt(0), want)
		}
		if d := int(s.Decimals); d >= 0 && strconv.FormatFloat(s.Value[0], 'f', d, 64) != strconv.FormatFloat(want, 'f', d, 64) {
			t.Fatalf("%q is not on the grid of %d decimals", v, d)
		}
	}
	for _, v := range []string{
		"0", "-0", "-0.000", "+1", "5.", ".5", "-.5", "007.50", "123456789012345", "1234567890123456", "12345678901234567890",
		"0.123456789012345", "0.1234567890123456", "9007199254740993", "1e3", "1E-3", "-2.5e+2", "1e-999", "-0e5", "0.30000000000000004",
		"88.4999999999999", "179769313486231570000000000000000000000", " 88.5", "88.5\t", "4.35", "999999999999.999",
	} {
		check(t, v)
	}
	rapid.Check(t, func(t *rapid.T) {
		check(t, rapid.StringMatching(`[-+]?[0-9]{1,12}(\.[0-9]{0,12})?`).Draw(t, "value"))
		check(t, strconv.FormatFloat(rapid.Float64().Draw(t, "float"), rapid.SampledFrom([]byte("efg")).Draw(t, "form"), -1, 64))
	})
}

func TestDecimals(t *testing.T) {
	for _, c := range []struct {
		values string
		want   int8
	}{
		{"1", 0}, {"1 2.5", 1}, {"1.000 2.5", 3}, {"88.50 88.5", 2}, {"0.123456789", 9}, {"0.1234567891", -1}, {"0.1234567890", 9},
		{"1e3", -1}, {"1.5 1e3", -1}, {"123456789012345", 0}, {"1234567890123456", -1}, {"12345678901234.5", 1},
		{"12345678901234.5 0.01", -1}, // the first is no exact whole number of hundredths for sure
		{"-0.001 0.000", 3},
	} {
		if s := values(t, strings.Fields(c.values)...); s.Decimals != c.want {
			t.Errorf("%s: %d decimals, want %d", c.values, s.Decimals, c.want)
		}
	}
}
