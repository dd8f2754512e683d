package match

import (
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// painted are marks of one ticket along a line, a step apart.
func painted(ticket, utility string, from, to orb.Point, step float64) []survey.Mark {
	var out []survey.Mark
	for i := range walk(utility, 1).to(from, to, step).tr.Readings {
		t := float64(i) * step / dist(from, to)
		out = append(out, survey.Mark{
			Place: survey.Place{File: "paint.csv", Row: i + 1}, SigmaM: nan, Ticket: ticket, Utility: utility,
			Point: orb.Point{from[0] + t*(to[0]-from[0]), from[1] + t*(to[1]-from[1])},
		})
	}
	return out
}

func TestMarks(t *testing.T) {
	gas := line("G", "gas", "S1", orb.Point{0, 0}, orb.Point{100, 0})
	water := line("W", "water", "S2", orb.Point{0, 1.2}, orb.Point{100, 1.2})
	for _, c := range []struct {
		name    string
		records []survey.Record
		marks   []survey.Mark
		want    string
	}{
		{"on their line", []survey.Record{gas, water}, painted("1", "gas", orb.Point{10, 0.1}, orb.Point{90, 0.1}, 8), "G used x11"},
		{"labelled as the neighbour", []survey.Record{gas, water}, painted("1", "water", orb.Point{10, 1.1}, orb.Point{90, 1.1}, 8), "W used x11"},
		{"far from any", []survey.Record{gas, water}, painted("1", "gas", orb.Point{10, 40}, orb.Point{90, 40}, 8), "unmapped x11"},
		{"one alone, between two", []survey.Record{gas, line("G2", "gas", "S3", orb.Point{0, 1.2}, orb.Point{100, 1.2})}, painted("1", "gas", orb.Point{50, 0.6}, orb.Point{51, 0.6}, 5), "G ambiguous x1"},
		{"none", []survey.Record{gas}, nil, ""},
	} {
		s := town(c.records)
		s.Marks = c.marks
		if got := on(s, Prepare(s, ordinary).Marks(nil)); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// Two tickets that interleave in the file, and a gap in one, make three rows.
func TestMarkRows(t *testing.T) {
	a := painted("a", "gas", orb.Point{0, 0}, orb.Point{40, 0}, 8)
	b := painted("b", "gas", orb.Point{0, 1}, orb.Point{16, 1}, 8)
	far := painted("a", "gas", orb.Point{100, 0}, orb.Point{108, 0}, 8)
	var marks []survey.Mark
	for i := range a {
		marks = append(marks, a[i])
		if i < len(b) {
			marks = append(marks, b[i])
		}
	}
	marks = append(marks, far...)
	for i := range marks {
		marks[i].Row = i + 1
	}
	var lengths []int
	for _, row := range markRows(marks, 15) {
		lengths = append(lengths, len(row))
	}
	if len(lengths) != 3 || lengths[0] != len(a) || lengths[1] != len(far) || lengths[2] != len(b) {
		t.Errorf("rows of %v marks", lengths)
	}
}

// In made-up towns nearly every mark that is used is used for the line that the
// crew meant or measured.
func TestMarksOfTowns(t *testing.T) {
	p, err := synth.Preset("easy")
	if err != nil {
		t.Fatal(err)
	}
	used, right, all := 0, 0, 0
	for seed := uint64(9101); seed < 9104; seed++ {
		made := synth.Make(seed, p)
		s := made.Survey()
		for i, m := range Prepare(s, ordinary).Marks(nil) {
			if s.Marks[i].Utility == "" {
				continue
			}
			all++
			if m.Status == survey.StatusUsed {
				used++
				if made.Truth.Records[m.Record].Line == made.Marks[i].Line {
					right++
				}
			}
		}
	}
	if all == 0 || used < all*80/100 || right < used*96/100 {
		t.Errorf("%d of %d marks used, %d of them for the right line", used, all, right)
	}
}
