package archive_test

import (
	"crypto/sha256"
	"fmt"
	"math"
	"testing"
	"time"

	"hawser/detect/reading"
	"hawser/ingest/batch"
	"hawser/ingest/planfile"
	"hawser/ingest/recording"
	"hawser/ingest/simulate/archive"
)

func stays(t *testing.T, o archive.Options) []*archive.Stay {
	t.Helper()
	all, err := archive.Stays(o)
	must(t, err)
	return all
}

// digest is all the bytes that a stay makes.
func digest(t *testing.T, s *archive.Stay) string {
	t.Helper()
	h := sha256.New()
	var buf []byte
	err := s.Blocks(func(b *reading.Block) (err error) {
		buf, err = batch.Append(buf[:0], b)
		h.Write(buf)
		return err
	})
	must(t, err)
	return fmt.Sprintf("%x", h.Sum(nil))
}

func TestSameOptionsSameBytes(t *testing.T) {
	o := archive.Options{Seed: 5, Days: 1}
	a, b, c := stays(t, o), stays(t, o), stays(t, archive.Options{Seed: 6, Days: 1})
	if len(a) == 0 || len(a) != len(b) {
		t.Fatalf("%d and %d stays", len(a), len(b))
	}
	last := len(a) - 1 // the one of fewest readings
	if digest(t, a[last]) != digest(t, b[last]) {
		t.Error("differs the second time")
	}
	if digest(t, a[last]) == digest(t, c[len(c)-1]) {
		t.Error("does not hang on the seed")
	}
}

// A month has four berths with several stays each, one after another, of ships that
// change.
func TestMonthOfStays(t *testing.T) {
	all := stays(t, archive.Options{Seed: 1})
	byBerth := map[string][]*archive.Stay{}
	for _, s := range all {
		byBerth[s.Plan.Berth] = append(byBerth[s.Plan.Berth], s)
		if !s.Arrival.Before(s.MadeFast) || !s.MadeFast.Before(s.LetGo) || !s.LetGo.Before(s.Departure) {
			t.Errorf("%s: not in order of time", s.Name())
		}
	}
	if len(byBerth) != 4 {
		t.Fatalf("%d berths", len(byBerth))
	}
	end := time.Date(2024, time.March, 2, 0, 0, 0, 0, time.UTC) // 2024 has a leap day
	for berth, list := range byBerth {
		if len(list) < 8 {
			t.Errorf("%s: %d stays in 30 days", berth, len(list))
		}
		for k, s := range list {
			if s.Departure.After(end) {
				t.Errorf("%s ends at %s", s.Name(), s.Departure)
			}
			if k > 0 && (!s.Arrival.After(list[k-1].Departure) || s.Plan.Ship.Name == list[k-1].Plan.Ship.Name) {
				t.Errorf("%s follows %s", s.Name(), list[k-1].Name())
			}
		}
	}
}

// The tide has springs and neaps: their ranges are twice the sum and twice the
// difference of M2 and S2 (definition, any textbook on tides), give or take what the
// other constituents add.
func TestSpringsAndNeaps(t *testing.T) {
	const m2, s2, others = 1.42, 0.49, 0.28 + 0.14 + 0.08 + 0.07 + 0.06
	lowest, highest, narrow := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, s := range stays(t, archive.Options{Seed: 1, Days: 17}) { // a fortnight and a little
		if s.Plan.Berth != "inner-quay-5" {
			continue
		}
		var levels []float64 // one each 30 s
		if err := s.Blocks(func(b *reading.Block) error {
			for _, c := range b.Series {
				if c.Channel.Kind == reading.WaterLevel {
					levels = append(levels, c.Value...)
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		const tide = 120 * 25 / 2 // half a lunar day of readings
		for from := 0; from+tide < len(levels); from += tide {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range levels[from : from+tide] {
				lo, hi = min(lo, v), max(hi, v)
			}
			lowest, highest, narrow = min(lowest, lo), max(highest, hi), min(narrow, hi-lo)
		}
	}
	if spring := highest - lowest; math.Abs(spring-2*(m2+s2)) > 2*others {
		t.Errorf("spring range %.2f m", spring)
	}
	if math.Abs(narrow-2*(m2-s2)) > 2*others {
		t.Errorf("neap range %.2f m", narrow)
	}
}

// What is written can be read: the plan as a plan, the recording with every channel
// in the plan. Between them the stays have all that a port has to show.
func TestArchiveHasAllAndReadsBack(t *testing.T) {
	dir := t.TempDir()
	var gap, parted, over, released, badOnes int
	for _, s := range stays(t, archive.Options{Seed: 3, Days: 2}) {
		if s.Plan.Berth == "oil-jetty-2" {
			continue // the other three have all there is
		}
		planPath, recPath, err := s.Write(dir)
		must(t, err)
		plan, message, err := planfile.Load(planPath)
		must(t, err)
		if planfile.Fingerprint(message) != planfile.Fingerprint(s.Message) {
			t.Errorf("%s: another plan", s.Name())
		}
		r, err := recording.Open(recPath, recording.Options{Window: time.Minute})
		must(t, err)
		last, lastLoad := int64(0), map[string]float64{}
		for b, err := range r.Blocks() {
			must(t, err)
			for _, c := range b.Series {
				switch c.Channel.Kind {
				case reading.WindSpeed:
					if last > 0 && c.Time[0]-last > int64(3*time.Minute) {
						gap++
					}
					last = c.Time[len(c.Time)-1]
				case reading.Tension:
					l := &plan.Lines[plan.Line(c.Channel.Line)]
					for k, v := range c.Value {
						if c.QualityAt(k) != reading.Good {
							badOnes++
							continue
						}
						if v >= 0.5*l.MBLkN {
							over++
						}
						if v < 0.01*l.MBLkN && lastLoad[l.ID] > 0.25*l.MBLkN {
							parted++
						}
						lastLoad[l.ID] = v
					}
				case reading.Brake:
					for _, v := range c.Value {
						if v == 0 {
							released++
						}
					}
				}
			}
		}
		stats := r.Stats()
		must(t, r.Close())
		if stats.Unknown != 0 || stats.Late != 0 || stats.First != s.Arrival.UnixNano() || stats.Last != s.Departure.Add(-5*time.Second).UnixNano() {
			t.Errorf("%s: %+v", s.Name(), stats)
		}
	}
	for what, n := range map[string]int{"gaps": gap, "partings": parted, "readings over the limit": over, "brakes released": released, "bad readings": badOnes} {
		if n == 0 {
			t.Errorf("no %s", what)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for _, o := range []archive.Options{{Days: -1}, {Days: 400}, {Interval: 3 * time.Second}} {
		if _, err := archive.Stays(o); err == nil {
			t.Errorf("%+v is taken", o)
		}
	}
}

// Benchmark: a day of four berths at 0.2 Hz.
func BenchmarkDay(b *testing.B) {
	for b.Loop() {
		all, err := archive.Stays(archive.Options{Seed: 1, Days: 1})
		must(b, err)
		n := 0
		for _, s := range all {
			if err := s.Blocks(func(b *reading.Block) error { n += b.Samples(); return nil }); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(n), "readings/op")
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
