package config

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// place is where something was said: a line of the config, or an environment
// variable (line 0).
type place struct {
	file string
	line int
}

func (p place) String() string {
	if p.line == 0 {
		return p.file
	}
	return fmt.Sprintf("%s:%d", p.file, p.line)
}

// Problem is one thing that is wrong in a config, and what to do about it.
type Problem struct {
	Place string // "asfound.yaml:12", or the name of an environment variable
	What  string
	Do    string

	at place
}

func (p Problem) Error() string { return p.Place + ": " + p.What + ": " + p.Do }

// Problems are all that is wrong in a config, in the order of its lines.
type Problems []Problem

// Error lists the problems, one a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the single problems to errors.Is and errors.As.
func (ps Problems) Unwrap() []error {
	errs := make([]error, len(ps))
	for i, p := range ps {
		errs[i] = p
	}
	return errs
}

func (ps *Problems) add(at place, what, do string) {
	*ps = append(*ps, Problem{Place: at.String(), What: what, Do: do, at: at})
}

// wrong adds what a parser of values found about the value of a key.
func (ps *Problems) wrong(at place, key string, err error) {
	w := wrong{what: err.Error(), do: "correct it"}
	errors.As(err, &w)
	ps.add(at, key+": "+w.what, w.do)
}

// err is nil where there are no problems: a Problems of length 0 in an error
// would not be.
func (ps Problems) err() error {
	if len(ps) == 0 {
		return nil
	}
	order := func(p Problem) uint { return uint(p.at.line) - 1 } // line 0, the environment, comes last
	slices.SortStableFunc(ps, func(a, b Problem) int { return cmp.Compare(order(a), order(b)) })
	return ps
}

// wrong is what is wrong with a value and what to do, before its place is known.
type wrong struct{ what, do string }

func (w wrong) Error() string { return w.what + ": " + w.do }

// didYouMean suggests the candidate nearest to a word, or lists them all where
// none is near.
func didYouMean(word string, candidates []string) string {
	best, bestDistance := "", 1+len(word)/3
	for _, c := range candidates {
		if d := distance(strings.ToLower(word), strings.ToLower(c)); d <= bestDistance && (best == "" || d < bestDistance) {
			best, bestDistance = c, d
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %s?", best)
	}
	return "use one of " + strings.Join(candidates, ", ")
}

// distance is the number of edits (insert, delete, replace, swap of
// neighbours) between two words: the optimal string alignment distance.
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, last, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range last {
		last[j] = j
	}
	for i := range s {
		row[0] = i + 1
		for j := range t {
			replace := last[j]
			if s[i] != t[j] {
				replace++
			}
			row[j+1] = min(replace, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && s[i] == t[j-1] && s[i-1] == t[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(t)]
}
