package linebook

import "hawser/detect/reading"

// Rendering is line that went out past a brake that was set.
type Rendering struct {
	At int64   `json:"at"` // of its first reading, Unix nanoseconds
	M  float64 `json:"m"`
}

// Winch is what a winch's brake has rendered, and what tells the next.
type Winch struct {
	Metres float64     `json:"metres"`
	Times  uint32      `json:"times"`
	Recent []Rendering `json:"recent"` // newest last

	Set     bool    `json:"set"` // the brake, by its newest reading
	SetAt   int64   `json:"set_at"`
	At      int64   `json:"at"`      // newest reading of pay-out
	Low     float64 `json:"low"`     // least pay-out since the brake was set or last rendered
	HasLow  bool    `json:"has_low"` // Low is known
	Renders int64   `json:"renders"` // when it rendered last
}

// leave forgets what a stay's readings begin from.
func (w *Winch) leave() { w.HasLow, w.Set = false, false }

// take takes the readings of pay-out and brake that came together. Line that goes
// out by slip, metres, with the brake set is rendered; what follows within a minute
// is the same rendering.
func (w *Winch) take(payout, brake *reading.Series, slip float64) {
	j := 0
	if payout != nil {
		for i, at := range payout.Time {
			for ; brake != nil && j < brake.Len() && brake.Time[j] <= at; j++ {
				w.brake(brake, j)
			}
			if payout.QualityAt(i) == reading.Good && at > w.At {
				w.payout(at, payout.Value[i], slip)
			}
		}
	}
	for ; brake != nil && j < brake.Len(); j++ {
		w.brake(brake, j)
	}
}

func (w *Winch) brake(s *reading.Series, i int) {
	if s.QualityAt(i) != reading.Good || s.Time[i] <= w.SetAt {
		return
	}
	w.SetAt = s.Time[i]
	if set := s.Value[i] >= 0.5; set != w.Set {
		w.Set, w.HasLow = set, false
	}
}

func (w *Winch) payout(at int64, m, slip float64) {
	w.At = at
	switch {
	case !w.Set:
		return
	case !w.HasLow || m < w.Low:
		w.Low, w.HasLow = m, true
		return
	case m-w.Low < slip:
		return
	}
	out := m - w.Low
	w.Low, w.Metres = m, w.Metres+out
	if n := len(w.Recent); n > 0 && at-w.Renders <= renderedWithin {
		w.Recent[n-1].M += out
	} else {
		w.Times++
		w.Recent = keepNewest(append(w.Recent, Rendering{At: at, M: out}), rendersKept)
	}
	w.Renders = at
}
