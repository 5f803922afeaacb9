package simulate

import "math/rand/v2"

// pinFaults is what is wrong with a load pin. Times are ticks.
type pinFaults struct {
	gapUntil, nanUntil, stuckUntil, flickerUntil int64

	rangeUntil int64
	rangeKN    float64

	deadUntil int64
	deadKN    float64

	spikeUntil, spikeNext int64
	spikeKN               float64

	shift []shift
}

// shift is a zero that goes from one place to another.
type shift struct {
	from, until int64
	byKN        float64
}

func (p *pinFaults) start(e Event, now, until int64) {
	switch e.Kind {
	case Gap:
		p.gapUntil = until
	case NotANumber:
		p.nanUntil = until
	case Stuck:
		p.stuckUntil = until
	case Flicker:
		p.flickerUntil = until
	case OutOfRange:
		p.rangeUntil, p.rangeKN = until, e.Value
	case Dead:
		p.deadUntil, p.deadKN = until, e.Value
	case Spikes:
		p.spikeUntil, p.spikeNext, p.spikeKN = until, now, e.Value
	case ZeroShift:
		p.shift = append(p.shift, shift{now, until, e.Value})
	}
}

// shiftKN is how far the zero has gone.
func (p *pinFaults) shiftKN(now int64) (kN float64) {
	for _, s := range p.shift {
		if now >= s.until {
			kN += s.byKN
			continue
		}
		kN += s.byKN * float64(now-s.from) / float64(s.until-s.from)
	}
	return kN
}

// spikes reports whether the reading of this tick is a spike, and draws when the
// next comes: from half to one and a half times spikeEvery.
func (p *pinFaults) spikes(now int64, rng *rand.Rand) bool {
	if now >= p.spikeUntil || now < p.spikeNext {
		return false
	}
	p.spikeNext = now + spikeEvery/2 + rng.Int64N(spikeEvery)
	return true
}
