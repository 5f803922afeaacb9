package live

import (
	"math"
	"time"

	"hawser/detect/mooring"
	"hawser/detect/reading"
	hawserv1 "hawser/proto/hawser/v1"
)

const (
	// MeanSeconds is the time a mean load is taken over: the detectors' slow mean.
	MeanSeconds = 60
	// RecentSeconds is the shortest time over which the waves of a harbour even out
	// (common practice, no source).
	RecentSeconds = 15
)

// Means is a berth's loads as they are now, without waves, and what acts on it.
type Means struct {
	Plan *mooring.Plan
	// TensionKN is the mean of each line over the last minute of event time, NaN
	// where its load pin gives nothing good.
	TensionKN []float64
	// RecentKN is the same over the last RecentSeconds.
	RecentKN []float64
	// Newest is the event time of the newest reading.
	Newest time.Time
	// Operating is how the detectors take the ship to lie, unspecified before they have.
	Operating hawserv1.OperatingState
	values    map[reading.Kind]float64
}

// Value is the newest reading of one of the berth's channels, where it is live.
func (m *Means) Value(k reading.Kind) (float64, bool) {
	v, ok := m.values[k]
	return v, ok
}

// Means gives a berth's mean loads, false where it is not live.
func (b *Board) Means(name string) (Means, bool) {
	shown := b.shown(name)
	if shown == nil {
		return Means{}, false
	}
	return shown.means(b.now(), b.stale)
}

func (b *berth) means(now time.Time, stale time.Duration) (Means, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.received.IsZero() || now.Sub(b.received) >= stale {
		return Means{}, false
	}
	m := Means{Plan: b.plan, TensionKN: make([]float64, len(b.lines)), RecentKN: make([]float64, len(b.lines)), Newest: time.Unix(0, b.newest).UTC(), Operating: b.how, values: map[reading.Kind]float64{}}
	for i := range b.lines {
		m.TensionKN[i], m.RecentKN[i] = math.NaN(), math.NaN()
		if b.lines[i].tension.within(silent, now) && b.lines[i].badAt <= b.lines[i].tension.at {
			m.TensionKN[i] = b.lines[i].course.mean(b.newest, MeanSeconds)
			m.RecentKN[i] = b.lines[i].course.mean(b.newest, RecentSeconds)
		}
	}
	for k := range b.values {
		if v := &b.values[k]; v.within(stale, now) {
			m.values[reading.Kind(k)] = v.v
		}
	}
	return m, true
}

// mean is the mean of the seconds' means over the last so many seconds up to a newest
// event time, NaN where it has none.
func (c *course) mean(newestNanos, seconds int64) float64 {
	end := newestNanos / 1e9
	var sum, n float64
	for at := max(end-seconds+1, 0); at <= end; at++ {
		if s := &c.cells[at%courseSeconds]; s.at == at && s.n > 0 {
			sum, n = sum+float64(s.mean), n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / n
}
