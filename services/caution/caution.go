// Package caution has the words, in en-GB, that go with every figure and alarm whose
// reader may stand by a mooring line. It is their one source: a test holds whatever
// cannot import it to the same words. It says nothing of places or distances, for no
// place on a mooring deck is safe.
package caution

// The words, and the short form for where one line has room.
const (
	Deck    = "The whole mooring deck is dangerous: lines part and recoil without warning."
	Figures = "Figures are estimates, not permission. Follow the ship's and the terminal's procedures, local rules and licensed practice."
	Full    = Deck + " " + Figures
	Short   = "The whole mooring deck is dangerous. Figures are estimates, not permission."
)
