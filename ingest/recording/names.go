package recording

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"hawser/detect/reading"
)

// maxName is the length of a channel's name, characters, as on the wire.
const maxName = 40

// names finds channels by their names and numbers them as they come.
type names struct {
	index   map[string]int // of known, or -1 for an unknown name
	known   []named
	unknown []string
	last    int // found last
}

type named struct {
	name    string
	channel reading.Channel
	next    int // the channel that came after it, and will again as a rule
}

func (n *names) init() { n.index, n.last = make(map[string]int), -1 }

// find gives the channel's number, or -1 for an unknown one. It allocates only
// for names it has not seen, and for unknown ones beyond maxUnknown.
func (n *names) find(name []byte) int {
	if n.last >= 0 {
		if next := n.known[n.last].next; n.known[next].name == string(name) {
			n.last = next
			return next
		}
	}
	i := n.lookUp(name)
	if n.last >= 0 && i >= 0 {
		n.known[n.last].next = i
	}
	n.last = i
	return i
}

func (n *names) lookUp(name []byte) int {
	if i, ok := n.index[string(name)]; ok {
		return i
	}
	kept := string(name)
	c, err := reading.ParseChannel(kept)
	if err != nil || utf8.RuneCount(name) > maxName || !utf8.Valid(name) || len(n.known) == maxChannels {
		n.tell(kept)
		return -1
	}
	i := len(n.known)
	n.known = append(n.known, named{name: kept, channel: c})
	n.index[kept] = i
	return i
}

func (n *names) tell(name string) {
	if len(n.unknown) == maxUnknown {
		return
	}
	printable := strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '\ufffd'
	}, name)
	if utf8.RuneCountInString(printable) > maxName {
		printable = string([]rune(printable)[:maxName]) + "…"
	}
	n.unknown = append(n.unknown, printable)
	n.index[name] = -1
}
