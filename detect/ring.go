package detect

import "math"

// A ring grows as needed from ringLeast to ringMost readings: 100 s of a 20 Hz channel,
// far more than late readings and any sender's batch need. When it is full the oldest
// reading is dropped and counted as overflow.
const (
	ringLeast = 16
	ringMost  = 2048
)

// ring holds the readings of one channel that wait for the watermark, sorted by time, no
// two at one time.
type ring struct {
	Data []sample // length a power of two
	Head int      // index of the oldest
	Len  int
}

type sample struct {
	Time  int64   // Unix nanoseconds
	Value float64 // NaN for a bad reading
}

type inserted uint8

const (
	placed inserted = iota
	duplicate
	overflow
)

func (r *ring) at(i int) *sample { return &r.Data[(r.Head+i)&(len(r.Data)-1)] }

// insert puts a reading in its place, searching from the newest back. Of two readings
// at one time a number replaces a bad reading and the larger replaces the smaller, so
// that the order in which they came does not matter.
func (r *ring) insert(t int64, v float64) inserted {
	i := r.Len
	for i > 0 && r.at(i-1).Time > t {
		i--
	}
	if i > 0 && r.at(i-1).Time == t {
		if old := r.at(i - 1); math.IsNaN(old.Value) || v > old.Value {
			old.Value = v
		}
		return duplicate
	}
	result := placed
	if r.Len == len(r.Data) && !r.grow() {
		if i == 0 {
			return overflow // older than all in a full ring
		}
		r.drop(1)
		i--
		result = overflow
	}
	r.Len++
	for j := r.Len - 1; j > i; j-- {
		*r.at(j) = *r.at(j - 1)
	}
	*r.at(i) = sample{t, v}
	return result
}

// grow doubles the ring; it reports false at ringMost.
func (r *ring) grow() bool {
	if len(r.Data) >= ringMost {
		return false
	}
	data := make([]sample, max(ringLeast, 2*len(r.Data)))
	for i := range len(r.Data) {
		data[i] = *r.at(i)
	}
	r.Data, r.Head = data, 0
	return true
}

// drop removes the n oldest.
func (r *ring) drop(n int) {
	r.Head = (r.Head + n) & (len(r.Data) - 1)
	r.Len -= n
}

// packed is the ring with the waiting readings only, for a snapshot.
func (r *ring) packed() ring {
	p := ring{Data: make([]sample, r.Len), Len: r.Len}
	for i := range p.Data {
		p.Data[i] = *r.at(i)
	}
	return p
}

// unpack makes a packed ring usable; it reports false where it is invalid.
func (r *ring) unpack() bool {
	if r.Head != 0 || r.Len != len(r.Data) || r.Len > ringMost {
		return false
	}
	for i := 1; i < r.Len; i++ {
		if r.Data[i].Time <= r.Data[i-1].Time {
			return false
		}
	}
	held := r.Data
	r.Data = nil
	for len(r.Data) < len(held) {
		r.grow()
	}
	copy(r.Data, held)
	return true
}
