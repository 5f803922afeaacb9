package mooring

import "testing"

func TestWindAt10M(t *testing.T) {
	// The power law of 1/7: the wind at 30 m is 1.1699 times that at 10 m.
	near(t, "from 30 m", WindAt10M(11.699, 30), 10, 1e-3)
	near(t, "from 10 m", WindAt10M(20, 10), 20, 0)
}

func TestGustFactor(t *testing.T) {
	// UFC 4-159-03 figure 3-5 to its formula, from memory; and independently the
	// factors quoted from ESDU (2002), 1.52 over 3 s and 1.05 over 10 min.
	for _, row := range []struct{ seconds, want, within float64 }{
		{3, 1.5094, 5e-5}, {10, 1.4334, 5e-5}, {30, 1.3235, 5e-5}, {60, 1.2439, 5e-5},
		{600, 1.0500, 5e-5}, {3600, 0.9997, 5e-5},
		{3, 1.52, 0.0152}, {600, 1.05, 0.0105},
	} {
		near(t, "factor", GustFactor(row.seconds), row.want, row.within)
	}
	near(t, "30 s in a 10 min mean of 20 m/s", Gust(20, 600, 30), 20*1.3235/1.05, 0.01)
}
