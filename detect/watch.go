package detect

import (
	"math"

	"hawser/detect/reading"
)

// watch is what the berth's own channels say.
type watch struct {
	Off bool // the ship is arriving or leaving: lines are worked on purpose
}

// reading takes a reading of a channel of the berth.
func (w *watch) reading(c int, s *sample) {
	if math.IsNaN(s.Value) {
		return
	}
	if reading.WindSpeed+reading.Kind(c) == reading.UnderWatch {
		w.Off = s.Value < 0.5
	}
}
