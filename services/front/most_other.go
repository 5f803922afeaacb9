//go:build !unix

package front

// connections is how many each listener keeps.
func connections() int { return mostConnections }
