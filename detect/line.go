package detect

// line is all that is known of one line.
type line struct {
	Pin  pin
	Drum drum
	Over latch
}

func (l *line) start() {
	l.Pin.Last = bad
	l.Drum.start()
}
