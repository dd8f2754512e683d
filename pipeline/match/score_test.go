package match_test

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/match"
	"github.com/asfound/asfound/pipeline/survey"
)

// share is a count among others.
type share struct{ n, of int }

func (s *share) add(hit bool) {
	s.of++
	if hit {
		s.n++
	}
}

func (s share) String() string {
	if s.of == 0 {
		return "    -"
	}
	return fmt.Sprintf("%6.2f %% of %d", 100*float64(s.n)/float64(s.of), s.of)
}

// figures are what a matching is worth against the truth.
//
// A reading is good if it measured its target, undistorted, with a fixed
// position, by a signal of its own, on a line that is on the map. A record is
// right for it if it stands for the line whose field was measured.
type figures struct {
	right       share // right record, among used
	rightGood   share // right record, among used good ones
	goodUsed    share
	jumpedWrong share // jumped readings used for a wrong record
	unmapped    share // readings of lines that no record shows: not used
	distorted   share // distorted readings distrusted
	goodTrust   share // good readings distrusted
	sure        [3]share
	brier       [3]float64
	counted     [3]int
	status      map[string]int
}

// spacing is the stratum of a trace: under 1 m, under 5 m, more.
func spacing(tr *survey.Trace) int {
	if len(tr.Readings) < 2 {
		return 2
	}
	var d []float64
	for i := 1; i < len(tr.Readings); i++ {
		a, b := tr.Readings[i-1].Point, tr.Readings[i].Point
		d = append(d, math.Hypot(a[0]-b[0], a[1]-b[1]))
	}
	slices.Sort(d)
	switch m := d[len(d)/2]; {
	case m < 1:
		return 0
	case m < 5:
		return 1
	}
	return 2
}

func (f *figures) add(t *synth.Town, ms [][]survey.Match) {
	s := t.Survey()
	if f.status == nil {
		f.status = map[string]int{}
	}
	drawn := map[int]bool{} // lines that a record stands for
	for i := range t.Truth.Records {
		drawn[t.Truth.Records[i].Line] = true
	}
	for i := range s.Traces {
		sp := spacing(&s.Traces[i])
		for j := range s.Traces[i].Readings {
			r, m, truth := &s.Traces[i].Readings[j], &ms[i][j], &t.Truth.Traces[i].Readings[j]
			if r.Duplicate != nil || r.Mode == survey.ModeSonde {
				continue
			}
			unmapped := !drawn[truth.Line]
			right := m.Record >= 0 && t.Truth.Records[m.Record].Line == truth.Line
			good := !truth.Jumped && !truth.Distorted && !truth.Float && r.Mode == survey.ModeActive && !unmapped
			used := m.Status == survey.StatusUsed
			f.status[string(m.Status)]++
			if used {
				f.right.add(right)
				if good {
					f.rightGood.add(right)
				}
			}
			switch {
			case good:
				f.goodUsed.add(used)
				f.goodTrust.add(m.Status == survey.StatusUntrusted)
			case truth.Jumped:
				f.jumpedWrong.add(used && !right)
			case unmapped:
				f.unmapped.add(!used)
			case truth.Distorted:
				f.distorted.add(m.Status == survey.StatusUntrusted)
			}
			if !used {
				continue
			}
			if m.Probability >= 0.99 {
				f.sure[sp].add(right)
			}
			e := m.Probability
			if right {
				e = 1 - e
			}
			f.brier[sp] += e * e
			f.counted[sp]++
		}
	}
}

func (f *figures) String() string {
	var b strings.Builder
	row := func(name, target string, v any) { fmt.Fprintf(&b, "  %-44s %-10s %v\n", name, target, v) }
	row("right record among used", "99.7", f.right)
	row("  among used good ones", "", f.rightGood)
	row("good readings used", "97", f.goodUsed)
	row("jumped used for a wrong record", "< 5", f.jumpedWrong)
	row("unmapped kept apart", "97", f.unmapped)
	row("distorted distrusted", "90", f.distorted)
	row("good distrusted", "< 2", f.goodTrust)
	for i, name := range []string{"under 1 m", "1 to 5 m", "over 5 m"} {
		row("right where p >= .99, "+name, "99", f.sure[i])
		row("Brier score, "+name, "< .01", fmt.Sprintf("%.4f of %d", f.brier[i]/float64(max(f.counted[i], 1)), f.counted[i]))
	}
	row("statuses", "", f.status)
	return b.String()
}

// nearestRecord is the baseline: the nearest record of the label's utility
// within 5 m.
func nearestRecord(s *survey.Survey) [][]survey.Match {
	index := map[string]*spatial.Index{}
	owner := map[string][]int{}
	segs := map[string][]spatial.Segment{}
	for i := range s.Records {
		for _, part := range s.Records[i].Parts {
			for k := 1; k < len(part); k++ {
				for _, u := range []string{s.Records[i].Utility, ""} {
					segs[u] = append(segs[u], spatial.Segment{A: part[k-1], B: part[k]})
					owner[u] = append(owner[u], i)
				}
			}
		}
	}
	for u := range segs {
		index[u] = spatial.New(segs[u], 10)
	}
	out := make([][]survey.Match, len(s.Traces))
	for i := range s.Traces {
		u := s.Traces[i].Utility
		out[i] = make([]survey.Match, len(s.Traces[i].Readings))
		for j := range s.Traces[i].Readings {
			out[i][j] = survey.Match{Record: -1, Status: survey.StatusUnmapped, Probability: 1, Inflate: 1}
			if index[u] == nil {
				continue
			}
			if id, _, ok := index[u].Nearest(s.Traces[i].Readings[j].Point, 5); ok {
				out[i][j].Record, out[i][j].Status = owner[u][id], survey.StatusUsed
			}
		}
	}
	return out
}

// seeds reads "1-20" or "7".
func seeds(t *testing.T, text string) (from, to uint64) {
	a, b, found := strings.Cut(text, "-")
	if !found {
		b = a
	}
	from, err1 := strconv.ParseUint(a, 10, 64)
	to, err2 := strconv.ParseUint(b, 10, 64)
	if err := cmp.Or(err1, err2); err != nil {
		t.Fatal(err)
	}
	return from, to
}

// TestScore matches whole towns and compares with the truth. ASFOUND_SCORE
// chooses other towns and prints the table: "hard 1-20".
func TestScore(t *testing.T) {
	difficulty, from, to := "hard", uint64(1), uint64(2)
	if text := os.Getenv("ASFOUND_SCORE"); text != "" {
		words := strings.Fields(text)
		if len(words) != 2 {
			t.Fatalf("ASFOUND_SCORE: %q, want a difficulty and seeds, as in: hard 1-20", text)
		}
		difficulty = words[0]
		from, to = seeds(t, words[1])
	}
	p, err := synth.Preset(difficulty)
	if err != nil {
		t.Fatal(err)
	}
	var ours, nearest figures
	var spent time.Duration
	for seed := from; seed <= to; seed++ {
		town := synth.Make(seed, p)
		begin := time.Now()
		ms := match.Traces(town.Survey(), nil, config.Default().Match)
		spent += time.Since(begin)
		ours.add(town, ms)
		nearest.add(town, nearestRecord(town.Survey()))
	}
	t.Logf("%s towns %d to %d, matched in %v\n%s\nnearest record\n%s", difficulty, from, to, spent, &ours, &nearest)
}
