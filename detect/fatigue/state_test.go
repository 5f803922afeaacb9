package fatigue_test

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"testing"

	"hawser/detect/fatigue"
)

// service is what a record would keep of a line.
type service struct {
	Counter fatigue.Counter
	Matrix  fatigue.Matrix
	Counts  []uint64
	Last    float64
	Turned  bool
}

var levels = []float64{0.1, 0.2, 0.3}

func (s *service) push(x float64) {
	if point, ok := s.Counter.Push(x, 0.005, &s.Matrix); ok {
		if s.Turned {
			fatigue.Crossings(levels, 0, s.Last, point, s.Counts)
		}
		s.Last, s.Turned = point, true
	}
}

// Kept and taken up again anywhere, through JSON, a count comes to the same bytes
// as in one go.
func TestStateGoesThroughJSON(t *testing.T) {
	for name, history := range histories(7, 3000) {
		r := rand.New(rand.NewPCG(3, 3))
		whole := service{Counts: make([]uint64, len(levels))}
		parts := service{Counts: make([]uint64, len(levels))}
		for _, x := range history {
			whole.push(x)
			parts.push(x)
			if r.IntN(50) == 0 {
				data, err := json.Marshal(&parts)
				if err != nil {
					t.Fatal(err)
				}
				var again service
				if err := json.Unmarshal(data, &again); err != nil {
					t.Fatal(err)
				}
				parts = again
			}
		}
		a, errA := json.Marshal(&whole)
		b, errB := json.Marshal(&parts)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: %s\nin one go, chopped: %s (%v, %v)", name, a, b, errA, errB)
		}
		if len(whole.Matrix.Cells) == 0 {
			t.Errorf("%s: nothing counted", name)
		}
	}
}

// Looking at what the residue would count changes nothing.
func TestRestLeavesTheCounter(t *testing.T) {
	history := histories(9, 500)["walk"]
	var looked, left fatigue.Counter
	var a, b, aside list
	for _, x := range history {
		looked.Push(x, 0.1, &a)
		left.Push(x, 0.1, &b)
		looked.Rest(&aside)
	}
	if !reflect.DeepEqual(looked, left) || !reflect.DeepEqual(a, b) {
		t.Error("looking at the residue changed the count")
	}
}

// What a pushed sample costs.
func BenchmarkPush(b *testing.B) {
	history := histories(1, 36_000)["moored"]
	b.ReportAllocs()
	var c fatigue.Counter
	var m fatigue.Matrix
	n := 0
	for b.Loop() {
		c.Push(history[n], 0.005, &m)
		if n++; n == len(history) {
			n = 0
		}
	}
	if len(m.Cells) == 0 && b.N > len(history) {
		b.Fatal("nothing counted")
	}
}
