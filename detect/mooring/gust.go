package mooring

import "math"

// WindAt10M is the wind at 10 m, which forces are reckoned by, from the wind at
// another height above water, metres: the power law with an exponent of 1/7,
// textbooks, from memory; for open country or sea and up to some 100 m.
func WindAt10M(speedMS, heightM float64) float64 {
	return speedMS * math.Pow(10/heightM, 1./7)
}

// GustFactor is how much stronger the strongest mean over so many seconds is
// than the mean over an hour: UFC 4-159-03 figure 3-5, from memory, for 1 s to
// 1 h.
func GustFactor(seconds float64) float64 {
	return 1.277 + 0.296*math.Tanh(0.9*math.Log10(45/min(max(seconds, 1), 3600)))
}

// Gust is the strongest mean over a shorter time to be expected in a wind whose
// mean is given over a longer one, both in seconds. A moored ship answers to
// means over about half a minute: common practice, no source.
func Gust(speedMS, overS, gustS float64) float64 {
	return speedMS * GustFactor(gustS) / GustFactor(overS)
}
