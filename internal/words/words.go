// Package words puts numbers into sentences.
package words

import "fmt"

// Noun is the form of a noun for n things: one, or many, which is one with an s
// where it is not given.
func Noun(n int, one string, many ...string) string {
	switch {
	case n == 1:
		return one
	case len(many) > 0:
		return many[0]
	}
	return one + "s"
}

// Count is a number with its noun.
func Count(n int, one string, many ...string) string {
	return fmt.Sprintf("%d %s", n, Noun(n, one, many...))
}
