package history

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"math/bits"
	"net/http"
	"time"

	"hawser/detect/spectrum"
	"hawser/ingest/store"
)

const (
	// spectrumStep is the time between the values of a spectrum: means of a second,
	// which are kept for years. What swings faster than in two seconds is not seen,
	// and what swings in under five is seen smaller than it is.
	spectrumStep = time.Second
	// spectrumMost bounds the time that one spectrum is of.
	spectrumMost = 48 * time.Hour
	// bridged is the longest gap, in values, that is drawn straight across.
	bridged = 3
	// Lengths of segments, in values: of at least four, where there are as many,
	// and such that a ship's own slow swing has several periods in each.
	leastSegment, mostSegment = 64, 1024
	// mostPeaks, and their periods in seconds: from wind sea to harbour seiches.
	mostPeaks               = 3
	shortPeriod, longPeriod = 2.5, 300
)

// spectrumJSON is the answer of Spectrum. Hz and Density go together; 0 Hz is left
// out.
type spectrumJSON struct {
	Channel  string     `json:"channel"`
	Unit     string     `json:"unit"` // of the values; densities are in its square per Hz
	SegmentS float64    `json:"segment_s"`
	Segments int        `json:"segments"`
	Hz       []float64  `json:"hz"`
	Density  []float64  `json:"density"`
	Peaks    []peakJSON `json:"peaks"`
}

type peakJSON struct {
	Seconds float64 `json:"seconds"` // period
	Share   float64 `json:"share"`   // of the variance
}

// Spectrum serves GET ?berth=…&channel=…&from=…&to=…: at which periods a channel's
// readings swung, by Welch's method from means of a second, and the greatest peaks.
func Spectrum(s Store, access Access, log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q, err := parseQuery(r.URL.RawQuery)
		switch {
		case err == nil && (q.Step != 0 || q.Points != 0):
			err = errors.New("step, points: a spectrum has its own step")
		case err == nil && q.Channel.Kind.OfLine() && q.Channel.Line == "":
			err = errors.New("channel: a spectrum is of one line")
		case err == nil && q.To.Sub(q.From) > spectrumMost:
			err = fmt.Errorf("to: over %s after from", spectrumMost)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		q.Step = spectrumStep
		results, ok := ask(w, r, s, access, q, log)
		if !ok {
			return
		}
		a := spectrumJSON{Channel: q.Channel.String(), Unit: q.Channel.Kind.Unit(), Hz: []float64{}, Density: []float64{}, Peaks: []peakJSON{}}
		for _, result := range results {
			a.of(&result)
		}
		w.Header().Set("Content-Type", "application/json")
		if err := json.NewEncoder(w).Encode(&a); err != nil {
			log.Debug("spectrum not sent", "err", err)
		}
	})
}

// of fills in the spectrum of a channel; what is too short has none.
func (a *spectrumJSON) of(r *store.Result) {
	values := even(r)
	length := segmentOf(len(values))
	found, err := spectrum.Welch(values, float64(time.Second)/float64(spectrumStep), length)
	if err != nil {
		return
	}
	a.SegmentS, a.Segments = (time.Duration(length) * spectrumStep).Seconds(), found.Segments
	a.Hz, a.Density = found.Hz[1:], found.Density[1:]
	for _, p := range found.Peaks(mostPeaks, shortPeriod, longPeriod) {
		a.Peaks = append(a.Peaks, peakJSON{p.Seconds, p.Share})
	}
}

// segmentOf is the length of a segment for so many values: the power of two that
// goes into them four times.
func segmentOf(n int) int {
	if n < 4*leastSegment {
		return leastSegment
	}
	return min(mostSegment, 1<<(bits.Len(uint(n/4))-1))
}

// even gives a course a value a step, NaN in gaps; short ones are drawn across.
func even(r *store.Result) []float64 {
	if len(r.Time) == 0 {
		return nil
	}
	place := func(t int64) int { return int((t - r.Time[0]) / int64(spectrumStep)) }
	values := make([]float64, place(r.Time[len(r.Time)-1])+1)
	for i := range values {
		values[i] = math.NaN()
	}
	for i, t := range r.Time {
		at := place(t)
		values[at] = r.Value[i]
		if i == 0 {
			continue
		}
		last := place(r.Time[i-1])
		if gap := at - last; gap > 1 && gap <= bridged+1 {
			for k := last + 1; k < at; k++ {
				values[k] = r.Value[i-1] + (r.Value[i]-r.Value[i-1])*float64(k-last)/float64(gap)
			}
		}
	}
	return values
}
