// Package spectrum finds the periods at which a load swings: the swell's, the
// ship's own. It estimates power spectral density by Welch's method (P. D. Welch,
// "The use of fast Fourier transform for the estimation of power spectra", IEEE
// Trans. Audio Electroacoust. AU-15, 1967): Hann windows that overlap by half, each
// less its mean. It knows values at even steps and nothing of what they are of.
package spectrum

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// ErrTooShort is that of values with no unbroken stretch of a segment's length.
var ErrTooShort = errors.New("no unbroken stretch long enough for a spectrum")

// Spectrum is a one-sided power spectral density.
type Spectrum struct {
	// Hz are the frequencies, from 0 up in even steps to half the rate.
	Hz []float64
	// Density is power by frequency, unit² per Hz: its integral over frequency is
	// the variance.
	Density []float64
	// Segments is how many were averaged: an estimate of n segments is off by a
	// factor of about 1 ± √(1/n).
	Segments int
}

// Welch estimates the spectrum of values taken at a rate, Hz. A NaN is a gap: no
// segment lies across one. length is a segment's, of at least 8 values.
func Welch(values []float64, rate float64, length int) (Spectrum, error) {
	if length < 8 || rate <= 0 || len(values) < length {
		return Spectrum{}, ErrTooShort
	}
	window, power := hann(length)
	fft := fourier.NewFFT(length)
	half := length/2 + 1
	s := Spectrum{Hz: make([]float64, half), Density: make([]float64, half)}
	segment, coefficients := make([]float64, length), make([]complex128, half)
	for at := 0; at+length <= len(values); {
		if gap := lastGap(values[at : at+length]); gap >= 0 {
			at += gap + 1
			continue
		}
		mean := 0.0
		for _, v := range values[at : at+length] {
			mean += v / float64(length)
		}
		for i, v := range values[at : at+length] {
			segment[i] = (v - mean) * window[i]
		}
		for i, c := range fft.Coefficients(coefficients, segment) {
			p := (real(c)*real(c) + imag(c)*imag(c)) / (rate * power)
			if i > 0 && 2*i < length { // the other side's
				p *= 2
			}
			s.Density[i] += p
		}
		s.Segments++
		at += length - length/2
	}
	if s.Segments == 0 {
		return Spectrum{}, ErrTooShort
	}
	for i := range s.Density {
		s.Hz[i] = float64(i) * rate / float64(length)
		s.Density[i] /= float64(s.Segments)
	}
	return s, nil
}

// hann is the window, periodic, and the sum of its squares.
func hann(n int) (w []float64, power float64) {
	w = make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
		power += w[i] * w[i]
	}
	return w, power
}

// lastGap is the place of the last NaN, -1 for none.
func lastGap(values []float64) int {
	for i := len(values) - 1; i >= 0; i-- {
		if math.IsNaN(values[i]) {
			return i
		}
	}
	return -1
}

// Peak is a period at which the values swing.
type Peak struct {
	Seconds float64 // period
	Hz      float64
	// Share is the part of the variance that is about it: between the least
	// densities to either side.
	Share float64
}

// fewestSwings is how often a period goes into a segment, at least, to be told from
// a drift.
const fewestSwings = 3

// Peaks gives at most so many peaks, the greatest share first, of periods between
// two bounds in seconds that go into a segment three times or more. A rise under a
// tenth of the greatest density is none.
func (s *Spectrum) Peaks(most int, shortest, longest float64) []Peak {
	lo, hi := len(s.Hz), 0
	variance, top := 0.0, 0.0
	for i, f := range s.Hz {
		variance += s.Density[i]
		if f > 0 && 1/f >= shortest && 1/f <= longest {
			lo, hi = min(lo, i), i
			top = max(top, s.Density[i])
		}
	}
	if top == 0 {
		return nil
	}
	var peaks []Peak
	for i := max(lo, fewestSwings); i <= hi; i++ {
		left, right := s.density(i-1), s.density(i+1)
		if s.Density[i] < top/10 || s.Density[i] < left || s.Density[i] <= right {
			continue
		}
		about := s.Density[i]
		for k := i - 1; k >= 0 && s.Density[k] <= s.Density[k+1]; k-- {
			about += s.Density[k]
		}
		for k := i + 1; k < len(s.Density) && s.Density[k] <= s.Density[k-1]; k++ {
			about += s.Density[k]
		}
		p := Peak{Hz: s.Hz[i], Seconds: 1 / s.Hz[i], Share: about / variance}
		at := len(peaks)
		for at > 0 && peaks[at-1].Share < p.Share {
			at--
		}
		peaks = append(peaks[:at], append([]Peak{p}, peaks[at:]...)...)
	}
	return peaks[:min(most, len(peaks))]
}

func (s *Spectrum) density(i int) float64 {
	if i < 0 || i >= len(s.Density) {
		return 0
	}
	return s.Density[i]
}
