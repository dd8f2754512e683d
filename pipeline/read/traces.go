package read

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

// traces orders a file's readings and cuts them into traces. A walk with a
// label is a trace; one without is cut where time or place leaves a gap.
//
// Within a walk readings stand in the order of time where all have one, else in
// the file's. Readings of the same moment keep the file's order too, since
// nothing else says how the crew walked.
func (f *fieldFile) traces(gap Gap) []survey.Trace {
	f.joinUndated()
	var traces []survey.Trace
	var labels []string
	for w, readings := range f.byWalk() {
		if len(readings) == 0 {
			continue
		}
		walk := &f.walks[w]
		if walk.label != "" {
			traces = append(traces, walk.trace(readings))
			labels = append(labels, walk.label)
			continue
		}
		for _, part := range cut(readings, gap) {
			traces = append(traces, walk.trace(part))
			labels = append(labels, walk.formed(part))
		}
	}
	name(f.Name, traces, labels)
	return traces
}

// joinUndated puts rows without a time to the one dated walk that is theirs in
// all else, where they have a label and there is just one such walk.
func (f *fieldFile) joinUndated() {
	const several = -1
	dated := map[walk]int32{}
	for i, w := range f.walks {
		if w.label != "" && w.day != noDay {
			w.day = noDay
			if _, met := dated[w]; met {
				dated[w] = several
			} else {
				dated[w] = int32(i)
			}
		}
	}
	to := make([]int32, len(f.walks))
	moved := false
	for i, w := range f.walks {
		to[i] = int32(i)
		if d, met := dated[w]; met && d >= 0 { // w is undated, as all keys are
			to[i], moved = d, true
		}
	}
	if moved {
		for i := range f.walkOf {
			f.walkOf[i] = to[f.walkOf[i]]
		}
	}
}

// byWalk gives each walk its readings in order, as slices of one array. It
// moves them within the array: a copy would take as much room again.
func (f *fieldFile) byWalk() [][]survey.Reading {
	starts := make([]int32, len(f.walks)+1)
	for _, w := range f.walkOf {
		starts[w+1]++
	}
	for w := range f.walks {
		starts[w+1] += starts[w]
	}
	next := slices.Clone(starts)
	for i, w := range f.walkOf { // from here on, where each reading goes
		f.walkOf[i] = next[w]
		next[w]++
	}
	permute(f.readings, f.walkOf)
	walks := make([][]survey.Reading, len(f.walks))
	for w := range walks {
		from, to := starts[w], starts[w+1]
		walks[w] = f.readings[from:to:to]
		sortByTime(walks[w])
	}
	f.readings, f.walkOf = nil, nil
	return walks
}

// permute moves the item i to place to[i], along the cycles of the permutation.
func permute[T any](items []T, to []int32) {
	for i := range items {
		for int(to[i]) != i {
			j := to[i]
			items[i], items[j] = items[j], items[i]
			to[i], to[j] = to[j], j
		}
	}
}

// sortByTime sorts readings that all have a time.
func sortByTime(readings []survey.Reading) {
	sorted := true
	for i := range readings {
		if readings[i].Time.IsZero() {
			return
		}
		sorted = sorted && (i == 0 || compareTimes(&readings[i-1], &readings[i]) <= 0)
	}
	if !sorted {
		slices.SortStableFunc(readings, func(a, b survey.Reading) int { return compareTimes(&a, &b) })
	}
}

// compareTimes puts duplicates behind the reading that counts, wherever their
// rows stand.
func compareTimes(a, b *survey.Reading) int {
	if c := a.Time.Compare(b.Time); c != 0 || a.Duplicate == nil && b.Duplicate == nil {
		return c
	}
	switch {
	case a.Duplicate == nil:
		return -1
	case b.Duplicate == nil:
		return 1
	}
	return strings.Compare(a.Remark, b.Remark)
}

// cut splits readings where the next one comes too late or too far away.
func cut(readings []survey.Reading, gap Gap) [][]survey.Reading {
	var parts [][]survey.Reading
	start := 0
	for i := 1; i <= len(readings); i++ {
		if i == len(readings) || apart(&readings[i-1], &readings[i], gap) {
			parts = append(parts, readings[start:i:i])
			start = i
		}
	}
	return parts
}

func apart(a, b *survey.Reading, gap Gap) bool {
	if gap.Seconds > 0 && !a.Time.IsZero() && !b.Time.IsZero() && b.Time.Sub(a.Time).Seconds() > gap.Seconds {
		return true
	}
	return gap.Metres > 0 && math.Hypot(b.Point[0]-a.Point[0], b.Point[1]-a.Point[1]) > gap.Metres
}

func (w *walk) trace(readings []survey.Reading) survey.Trace {
	return survey.Trace{
		Utility: w.utility, Crew: w.crew, Receiver: w.receiver, Ticket: w.ticket, Positions: w.position,
		Session:  sessionName(w.crew, w.receiver, w.day, w.session),
		Readings: readings,
	}
}

// formed is the name of a trace that the crew gave none: who, what, and when
// it began.
func (w *walk) formed(readings []survey.Reading) string {
	words := []string{w.crew, w.receiver, w.utility, w.ticket}
	if t := readings[0].Time; !t.IsZero() {
		words = append(words, t.UTC().Format(time.RFC3339))
	}
	words = slices.DeleteFunc(words, func(s string) bool { return s == "" })
	return or(strings.Join(words, " / "), "unlabelled")
}

// name gives each trace an id: source and label, and from the second trace of
// the same label on the number of it, in the order of time and of what is known
// of the trace.
func name(source string, traces []survey.Trace, labels []string) {
	order := make([]int, len(traces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return cmp.Or(strings.Compare(labels[i], labels[j]), compareTraces(&traces[i], &traces[j]))
	})
	taken := make(map[string]bool, len(traces))
	for _, i := range order {
		taken[labels[i]] = true
	}
	number := 1
	for k, i := range order {
		id := labels[i]
		if k > 0 && labels[order[k-1]] == labels[i] {
			for {
				number++
				id = fmt.Sprintf("%s#%d", labels[i], number)
				if !taken[id] {
					break
				}
			}
		} else {
			number = 1
		}
		traces[i].ID = source + ":" + id
	}
}

// compareTraces orders traces of one label and file.
func compareTraces(a, b *survey.Trace) int {
	p, q := &a.Readings[0], &b.Readings[0]
	return cmp.Or(
		p.Time.Compare(q.Time),
		strings.Compare(a.Crew, b.Crew), strings.Compare(a.Receiver, b.Receiver), strings.Compare(a.Utility, b.Utility),
		strings.Compare(a.Ticket, b.Ticket), strings.Compare(a.Session, b.Session), strings.Compare(a.Positions, b.Positions),
		cmp.Compare(p.Point[0], q.Point[0]), cmp.Compare(p.Point[1], q.Point[1]))
}
