package pipeline_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline"
)

// rowsOf reads a CSV file, a row a map from the column's name.
func rowsOf(t *testing.T, name string) (out []map[string]string) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range rows[0] {
			m[c] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// means are the mean offset of some readings, and what a shift would show there.
type means struct{ offset, shift, n float64 }

func (m *means) add(offset, shift float64) {
	m.offset, m.shift, m.n = m.offset+offset, m.shift+shift, m.n+1
}
func (m *means) left() float64 { return (m.offset - m.shift) / m.n }

// onSheet finds again, from readings.csv and effects.csv alone, what a sheet's
// sentence says.
type onSheet struct {
	could, show, compared int
	crews, sessions       map[string]bool
	apartM                float64
}

func findAgain(t *testing.T, readings []map[string]string, records map[string]bool, east, north float64, off map[string]bool) onSheet {
	all, byCrew := map[string]*means{}, map[string]map[string]*means{}
	c := onSheet{crews: map[string]bool{}, sessions: map[string]bool{}}
	for _, r := range readings {
		if r["status"] != "used" || !records[r["record"]] {
			continue
		}
		c.crews[r["crew"]], c.sessions[r["session"]] = true, true
		sin, cos := math.Sincos(float(t, r["right_deg"]) * math.Pi / 180)
		offset, shift := float(t, r["offset_m"]), east*sin+north*cos
		if all[r["record"]] == nil {
			all[r["record"]], byCrew[r["record"]] = &means{}, map[string]*means{}
		}
		all[r["record"]].add(offset, shift)
		if off[r["session"]] {
			continue
		}
		if byCrew[r["record"]][r["crew"]] == nil {
			byCrew[r["record"]][r["crew"]] = &means{}
		}
		byCrew[r["record"]][r["crew"]].add(offset, shift)
	}
	for record, m := range all {
		if math.Abs(m.shift/m.n) >= math.Hypot(east, north)/2 {
			c.could++
			if math.Abs(m.left()) < math.Abs(m.offset/m.n) {
				c.show++
			}
		}
		var left []float64
		for _, of := range byCrew[record] {
			left = append(left, of.left())
		}
		if len(left) > 1 {
			c.compared++
			c.apartM = max(c.apartM, slices.Max(left)-slices.Min(left))
		}
	}
	return c
}

// checksOf are the control checks of each session, observed minus known in
// metres, from the file that the job was given.
func checksOf(t *testing.T, name string) map[string][2][]float64 {
	out := map[string][2][]float64{}
	for _, r := range rowsOf(t, name) {
		session := fmt.Sprintf("%s / %s / %s", r["CREW"], r["RX"], r["UTC"][:10])
		lat := float(t, r["TRUE_LAT"])
		const perDegree = 6371000 * math.Pi / 180 // to 0.3 %: of some centimetres
		e := (float(t, r["LON"]) - float(t, r["TRUE_LON"])) * perDegree * math.Cos(lat*math.Pi/180)
		n := (float(t, r["LAT"]) - lat) * perDegree
		was := out[session]
		out[session] = [2][]float64{append(was[0], e), append(was[1], n)}
	}
	return out
}

var (
	linesAgain  = regexp.MustCompile(`^(?:(\d+) of (\d+)|No) surveyed lines? of drawing (\S+) (?:that could show it|lies across its shift, .* alone: they) lie ([\d.]+) m \S+ of where (\d+) crews?(?: in (\d+) sessions)? found them \(u ([\d.]+) m\)`)
	crewsAgain  = regexp.MustCompile(`On (\d+) lines? that more than one crew read they (?:agree within|differ by up to) ([\d.]+) m`)
	checksAgain = regexp.MustCompile(`(\d+) control checks? of (?:one|(\d+)) of these sessions: (?:their medians agree with the marks within|its median is) ([\d.]+) m`)
	offAgain    = regexp.MustCompile(`being off itself: (.*?)\. `)
)

// Every number in the sentence of a sheet can be found again in what is published
// and in the control checks.
func TestEveryNumberIsTraceable(t *testing.T) {
	params, err := synth.Preset("hard")
	if err != nil {
		t.Fatal(err)
	}
	sentences, compared, checked, left := 0, 0, 0, 0
	for _, seed := range []uint64{7309, 7320, 7331} {
		dir := t.TempDir()
		file, err := synth.Make(seed, params).Write(filepath.Join(dir, "job"), synth.WriteOptions{})
		if err != nil {
			t.Fatal(err)
		}
		c, err := config.Load(file)
		if err != nil {
			t.Fatal(err)
		}
		out, err := pipeline.Run(context.Background(), c.Job("test", time.Unix(0, 0)), nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		readings, effects := rowsOf(t, filepath.Join(out.Folder, "readings.csv")), rowsOf(t, filepath.Join(out.Folder, "effects.csv"))
		checks := map[string][2][]float64{}
		if _, err := os.Stat(filepath.Join(dir, "job", "control.csv")); err == nil {
			checks = checksOf(t, filepath.Join(dir, "job", "control.csv"))
		}
		off := map[string]bool{}
		for _, e := range effects {
			off[e["name"]] = e["effect"] == "session" && e["significant"] == "true"
		}
		for _, e := range effects {
			if e["effect"] != "sheet" || e["significant"] != "true" {
				continue
			}
			said := linesAgain.FindStringSubmatch(e["explanation"])
			if said == nil {
				t.Errorf("town %d: %s", seed, e["explanation"])
				continue
			}
			sentences++
			records := map[string]bool{}
			for _, r := range rowsOf(t, filepath.Join(out.Folder, "records.csv")) {
				records[r["record"]] = r["sheet"] == e["name"]
			}
			east, north := float(t, e["east_m"]), float(t, e["north_m"])
			again := findAgain(t, readings, records, east, north, off)
			same := func(what, said string, again, tolerance float64) {
				if said != "" && math.Abs(float(t, said)-again) > tolerance {
					t.Errorf("town %d, sheet %s: %s are %s in the sentence, %.3f found again\n%s", seed, e["name"], what, said, again, e["explanation"])
				}
			}
			if said[2] == "" && again.could > 0 {
				t.Errorf("town %d, sheet %s: %d lines could show it\n%s", seed, e["name"], again.could, e["explanation"])
			}
			same("lines that show it", said[1], float64(again.show), 0)
			same("lines that could", said[2], float64(again.could), 0)
			same("metres", said[4], math.Hypot(east, north), 0.0051)
			same("crews", said[5], float64(len(again.crews)), 0)
			same("sessions", said[6], float64(len(again.sessions)), 0)
			same("metres of u", said[7], max(float(t, e["east_u_m"]), float(t, e["north_u_m"])), 0.0051)
			if said := crewsAgain.FindStringSubmatch(e["explanation"]); said != nil {
				compared++
				same("lines of more than one crew", said[1], float64(again.compared), 0)
				same("metres that they differ by", said[2], again.apartM, 0.0061)
			} else if again.compared > 0 {
				t.Errorf("town %d, sheet %s: %d lines were read by more than one crew, the sentence does not say so", seed, e["name"], again.compared)
			}
			if offAgain.MatchString(e["explanation"]) {
				left++
			}
			number, sessions, most := 0, 0, 0.0
			for s := range again.sessions {
				if of := checks[s]; len(of[0]) > 0 && !off[s] {
					number, sessions = number+len(of[0]), sessions+1
					most = max(most, math.Hypot(estimate.Median(of[0]), estimate.Median(of[1])))
				}
			}
			if said := checksAgain.FindStringSubmatch(e["explanation"]); said != nil {
				checked++
				same("control checks", said[1], float64(number), 0)
				same("sessions with checks", said[2], float64(sessions), 0)
				same("metres of the checks", said[3], most, 0.0061)
			} else if number > 0 {
				t.Errorf("town %d, sheet %s: there are %d control checks, the sentence does not say so", seed, e["name"], number)
			}
		}
	}
	if sentences < 8 || compared < 5 || checked < 4 || left < 1 {
		t.Errorf("%d sentences, %d with crews compared, %d with control checks, %d with a session left out: too few to tell", sentences, compared, checked, left)
	}
}
