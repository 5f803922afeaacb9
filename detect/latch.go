package detect

// latch turns a condition that comes and goes into one raise and one clear: it must
// hold for an on-delay without a break before it is up, and be gone for
// an off-delay without a break before it is down.
//
//	down ──held for on──► up ──gone for off──► down
type latch struct {
	Up   bool
	Held int32 // steps that the condition has held while down, or been gone while up
}

type turn int8

const (
	still turn = iota
	rose
	fell
)

// step advances one step of time, a tick or a second; delays are in steps. holds is
// the condition, gone its return to normal; between the two (hysteresis) neither is
// true.
func (l *latch) step(holds, gone bool, on, off int32) turn {
	if l.Up {
		holds, on = gone, off
	}
	if !holds {
		l.Held = 0
		return still
	}
	l.Held++
	if l.Held < on {
		return still
	}
	l.Up, l.Held = !l.Up, 0
	if l.Up {
		return rose
	}
	return fell
}

// pause restarts the on-delay; what is up stays up.
func (l *latch) pause() {
	if !l.Up {
		l.Held = 0
	}
}
