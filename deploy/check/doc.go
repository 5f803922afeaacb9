// Package check holds the tests of what is handed out for containers, compose and
// Kubernetes, each read by the reference library of its form. It is a module of its
// own so that the weight of those libraries is not on hawser's:
//
//	cd deploy/check && go test ./...
package check
