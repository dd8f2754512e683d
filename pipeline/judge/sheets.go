package judge

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// A line shows a shift that lies across it by couldShow of its size or more.
const couldShow = 0.5

// sheetCase is what the field says of one sheet, as it was measured: every number
// can be found again from readings.csv, effects.csv and the control checks.
type sheetCase struct {
	could, show int             // surveyed lines that the shift lies across; that lie nearer to it than to none
	crews       map[string]bool // that read the sheet's lines
	sessions    map[int]bool
	off         map[int]bool // of the sessions: those that are off themselves, left out of what follows
	compared    int          // lines that two crews or more read
	apartM      float64      // the farthest that two crews' means on one of them are apart
}

// add takes in the visits of one of the sheet's records, shifted by (east, north).
func (c *sheetCase) add(vs []visit, east, north float64, off func(session int) bool) {
	all := whole(vs)
	size := math.Hypot(east, north)
	if shift := all.shows(east, north); math.Abs(shift) >= couldShow*size {
		c.could++
		if math.Abs(all.offsetM-shift) < math.Abs(all.offsetM) {
			c.show++
		}
	}
	means := map[string][]visit{} // of what the shift leaves, where they stood
	for i := range vs {
		c.crews[vs[i].crew] = true
		c.sessions[vs[i].session] = true
		if off(vs[i].session) {
			c.off[vs[i].session] = true
			continue
		}
		means[vs[i].crew] = append(means[vs[i].crew], vs[i])
	}
	if len(means) < 2 {
		return
	}
	c.compared++
	low, high := math.Inf(1), math.Inf(-1)
	for _, of := range means {
		v := whole(of)
		left := v.offsetM - v.shows(east, north)
		low, high = min(low, left), max(high, left)
	}
	c.apartM = max(c.apartM, high-low)
}

// sheetSentence says what a sheet's shift is and to what this data attributes it.
func (f *field) sheetSentence(k int) string {
	e := &f.m.Effects[k]
	shift, u, along := f.shown(e)
	c := sheetCase{crews: map[string]bool{}, sessions: map[int]bool{}, off: map[int]bool{}}
	for _, vs := range f.bySheet[e.Name] {
		c.add(vs, shift[0], shift[1], func(session int) bool { return f.m.Effects[session].Significant })
	}
	size := math.Hypot(shift[0], shift[1])
	var b strings.Builder
	which := fmt.Sprintf("%d of %s of drawing %s that could show it lie", c.show, words.Count(c.could, "surveyed line"), e.Name)
	if c.could == 0 {
		which = fmt.Sprintf("No surveyed line of drawing %s lies across its shift, which they show aslant: they lie", e.Name)
	}
	fmt.Fprintf(&b, "%s %.2f m %s of where %s found them (u %.2f m): add %.2f m to the %s.",
		which, size, compass(-shift[0], -shift[1]), crewWords(&c), u, size, compass(shift[0], shift[1]))
	b.WriteString(along)
	sessions := slices.Sorted(maps.Keys(c.sessions))
	if len(c.off) > 0 {
		fmt.Fprintf(&b, " Left out of what follows, being off itself: %s.", namesOf(f.m, slices.Sorted(maps.Keys(c.off))))
		sessions = slices.DeleteFunc(sessions, func(s int) bool { return c.off[s] })
	}
	if c.compared > 0 {
		how := "agree within"
		if c.apartM > f.o.Default.HorizontalM {
			how = "differ by up to"
		}
		fmt.Fprintf(&b, " On %s that more than one crew read they %s %.2f m.", words.Count(c.compared, "line"), how, c.apartM)
	}
	b.WriteString(f.checkWords(sessions))
	b.WriteString(mistakeWords(e.V, f.possible(e)))
	if len(e.RestsOn) == 0 {
		b.WriteString(" This data attributes the difference to the record.")
		return b.String()
	}
	fmt.Fprintf(&b, " Inseparable: without the word of %s the shift would not stand. %s.", namesOf(f.m, e.RestsOn), wouldSeparate(f.m, e.RestsOn, "drawing "+e.Name))
	return b.String()
}

// shown is what of a sheet's shift its surveyed lines show, true east and north, and
// its standard deviation: all of it, unless they all run much the same way. Then
// along says what was not observed.
func (f *field) shown(e *survey.Effect) (shift [2]float64, u float64, along string) {
	east, north, ok := across(f.bySheet[e.Name])
	if !ok {
		_, u = length(e.V)
		return [2]float64{e.V.East, e.V.North}, u, ""
	}
	value, variance := e.V.Along(east, north)
	other, otherVariance := e.V.Along(-north, east)
	if other < 0 {
		east, north, value = -east, -north, -value
	}
	along = fmt.Sprintf(" All its surveyed lines run much the same way, and along themselves they show nothing: that the vector has %.2f m to the %s there (u %.2f m) is no observation.",
		math.Abs(other), compass(-north, east), math.Sqrt(otherVariance))
	return [2]float64{value * east, value * north}, math.Sqrt(variance), along
}

// worthNaming says whether a sheet's shift is one by what its surveyed lines show
// of it: one that lies along them is what joints and bends made of it.
func (f *field) worthNaming(e *survey.Effect) bool {
	shift, u, along := f.shown(e)
	return along == "" || estimate.NormalCDF(-(math.Hypot(shift[0], shift[1])-f.o.NameM)/u) <= f.o.FalseDiscovery
}

func crewWords(c *sheetCase) string {
	n, sessions := words.Count(len(c.crews), "crew"), words.Count(len(c.sessions), "session")
	if len(c.sessions) == len(c.crews) {
		return n
	}
	return n + " in " + sessions
}

// checkWords say how well the control checks of some sessions agree with their
// marks: the largest of the sessions' median errors.
func (f *field) checkWords(sessions []int) string {
	checks, checked, most := 0, 0, 0.0
	for _, s := range sessions {
		c := &f.checks[s]
		if len(c.east) == 0 {
			continue
		}
		checks += len(c.east)
		checked++
		most = max(most, math.Hypot(estimate.Median(c.east), estimate.Median(c.north)))
	}
	switch {
	case len(sessions) == 0:
		return ""
	case checks == 0 && len(sessions) == 1:
		return " The session has no control check."
	case checks == 0:
		return " None of these sessions has a control check."
	case checked == 1:
		return fmt.Sprintf(" %s of one of these sessions: its median is %.2f m off the mark.", words.Count(checks, "control check"), most)
	}
	return fmt.Sprintf(" %s of %d of these sessions: their medians agree with the marks within %.2f m.", words.Count(checks, "control check"), checked, most)
}

// length is the size of a shift and its largest standard deviation per axis.
func length(v survey.Vector) (size, u float64) {
	return math.Hypot(v.East, v.North), math.Sqrt(math.Max(v.EE, v.NN))
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// namesOf lists effects by name.
func namesOf(m *survey.Model, effects []int) string {
	var all []string
	for _, i := range effects {
		all = append(all, m.Effects[i].Name)
	}
	return listed(all, "and")
}

// listed joins words with commas, the last with a conjunction; long lists are cut.
func listed(all []string, with string) string {
	const most = 3
	if len(all) > most {
		all = append(slices.Clone(all[:most]), fmt.Sprintf("%d more", len(all)-most))
	}
	if len(all) == 1 {
		return all[0]
	}
	return strings.Join(all[:len(all)-1], ", ") + " " + with + " " + all[len(all)-1]
}

// wouldSeparate says what would tell a session's error from that of something it
// read.
func wouldSeparate(m *survey.Model, sessions []int, what string) string {
	var unchecked []int
	for _, s := range sessions {
		if m.Effects[s].Checks == 0 {
			unchecked = append(unchecked, s)
		}
	}
	ways := []string{fmt.Sprintf("a test hole on %s", what), "another session on it"}
	if len(unchecked) > 0 {
		ways = append([]string{"a control check of " + namesOf(m, unchecked)}, ways...)
	} else {
		ways = append([]string{"more control checks of " + namesOf(m, sessions)}, ways...)
	}
	return capital(listed(ways, "or") + " would tell them apart")
}
