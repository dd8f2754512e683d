package starter

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/read"
)

// profile is what the values of one column are like.
type profile struct {
	name     string
	words    []string // of the name, without its unit
	filled   int      // values that are not empty
	counts   map[string]int
	distinct []string  // the most frequent first
	numbers  []float64 // the values that are numbers, in order
	missing  []float64 // among them, those that look like no data
	layout   layout    // of its times
}

func newProfile(name string, values []string, delimiter rune) *profile {
	p := &profile{name: name, words: nameOnly(name), counts: map[string]int{}}
	for _, v := range values {
		if v == "" {
			continue
		}
		p.filled++
		p.counts[v]++
		if n, ok := read.Number(v, delimiter); ok {
			p.numbers = append(p.numbers, n)
		}
	}
	for v := range p.counts {
		p.distinct = append(p.distinct, v)
	}
	slices.SortFunc(p.distinct, func(a, b string) int {
		return cmp.Or(cmp.Compare(p.counts[b], p.counts[a]), strings.Compare(a, b))
	})
	slices.Sort(p.numbers)
	p.missing = noData(p.numbers)
	p.layout = layoutOf(p.distinct)
	return p
}

// noData are the numbers that stand for "no data" in many files, where they do
// not fit the others: a negative one where nothing else is, a row of nines far
// above everything else.
func noData(sorted []float64) (missing []float64) {
	for _, v := range []float64{-99999, -9999, -999, -99, -9, -1} {
		i, found := slices.BinarySearch(sorted, v)
		if found && i == 0 {
			next, _ := slices.BinarySearch(sorted, math.Nextafter(v, 0))
			if next == len(sorted) || sorted[next] >= 0 || v <= -99 && sorted[next] > v/10 {
				missing, sorted = append(missing, v), sorted[next:]
			}
		}
	}
	for _, v := range []float64{99999, 9999.99, 9999, 999.9, 999, 99.9, 99} {
		i, found := slices.BinarySearch(sorted, v)
		if n := len(sorted); found && sorted[n-1] == v && i > 0 && sorted[i-1] < v/3 {
			missing, sorted = append(missing, v), sorted[:i]
		}
	}
	slices.Sort(missing)
	return missing
}

// data are the numbers without those that look like no data.
func (p *profile) data() []float64 {
	return slices.DeleteFunc(slices.Clone(p.numbers), func(v float64) bool { return slices.Contains(p.missing, v) })
}

// numeric says whether nearly all values are numbers.
func (p *profile) numeric() bool { return len(p.numbers) > 0 && 10*len(p.numbers) >= 9*p.filled }

// within says whether nearly all numbers lie from -limit to limit.
func (p *profile) within(limit float64) bool {
	inside := 0
	for _, v := range p.numbers {
		if math.Abs(v) <= limit {
			inside++
		}
	}
	return p.numeric() && 10*inside >= 9*len(p.numbers)
}

var yearPattern = regexp.MustCompile(`(^|\D)(1[789]|20|21)\d\d(\D|$)|^(1[789]|20|21)\d{6}$`)

// share is the part of the values for which something holds.
func (p *profile) share(holds func(string) bool) float64 {
	n := 0
	for _, v := range p.distinct {
		if holds(v) {
			n += p.counts[v]
		}
	}
	return float64(n) / float64(max(p.filled, 1))
}

// few says whether there are as few different values as a list of words has.
func (p *profile) few() bool { return len(p.distinct) <= maxWords }

// maxWords is how many different words a column of codes may have.
const maxWords = 40

// fits says whether the values can be those of a quantity. Of a column without
// any nothing speaks against it.
func (q *quantity) fits(p *profile) bool {
	if p.filled == 0 {
		return true
	}
	switch q.kind {
	case identifier:
		return 10*len(p.distinct) >= 9*p.filled
	case word, utility:
		return p.few()
	case number:
		return p.numeric()
	case latitude:
		return p.within(90)
	case longitude:
		return p.within(180)
	case northing:
		return p.numeric() && (!p.within(90) || slices.Contains(p.words, "northing"))
	case easting:
		return p.numeric() && (!p.within(180) || slices.Contains(p.words, "easting"))
	case moment:
		return p.layout.found
	case year:
		return p.share(yearPattern.MatchString) >= 0.5
	}
	return true
}

// speak says whether the values alone tell that they are of a quantity.
func (q *quantity) speak(p *profile) bool {
	if q.kind == moment {
		return p.layout.found && p.share(func(v string) bool { return strings.Contains(v, ":") }) >= 0.9
	}
	if p.filled == 0 || !p.few() {
		return false
	}
	switch q.kind {
	case word:
		if q.key == "doubt" || p.numeric() { // y, n, 0 and 1 may say anything
			return false
		}
		return p.share(func(v string) bool { return len(v) > 1 && read.Known(q.key, v) }) == 1
	case utility:
		return p.share(func(v string) bool { return len(v) > 1 && utilityOf(v) != "" }) >= 0.9
	}
	return false
}

// seen says in a few words what a column holds.
func (p *profile) seen() string {
	if p.filled == 0 {
		return "no values"
	}
	if p.numeric() && len(p.distinct) > 6 {
		data := p.data()
		if len(data) == 0 {
			data = p.numbers
		}
		s := fmt.Sprintf("%s to %s", short(data[0]), short(data[len(data)-1]))
		if odd := p.filled - len(p.numbers); odd > 0 {
			s += fmt.Sprintf(", and %s no number", words.Count(odd, "row with", "rows with"))
		}
		return s
	}
	most := 5
	if len(p.distinct) > maxWords {
		most = 2
	}
	var list []string
	for _, v := range p.distinct[:min(most, len(p.distinct))] {
		list = append(list, example(v))
	}
	s := strings.Join(list, ", ")
	if n := len(p.distinct) - most; n > 0 {
		s += fmt.Sprintf(" and %d more", n)
	}
	return s
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 9, 64) }

// example is a value fit for a comment: one line, and not a long one.
func example(v string) string {
	const most = 30
	if r := []rune(v); len(r) > most {
		v = string(r[:most]) + "..."
	}
	if plainScalar.MatchString(v) || numberScalar.MatchString(v) {
		return v
	}
	return strconv.QuoteToASCII(v)
}

var numberScalar = regexp.MustCompile(`^[-+]?[0-9][0-9.:TZ+-]*$`)
