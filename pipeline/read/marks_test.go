package read

import (
	"context"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// evidence are the marks and exposures of a survey, without rows.
func evidence(t interface{ Fatal(...any) }, o Options) string {
	s, err := Files(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return dump(&survey.Survey{Marks: s.Marks, Exposures: s.Exposures}, false)
}

// TestSameMarksInEveryFormat reads marks from CSV, GeoJSON points, GPX and a
// shapefile.
func TestSameMarksInEveryFormat(t *testing.T) {
	const text = marksHeader +
		"2026-06-12T14:00:00Z,40.00001,-80.9999,,WTR,A,R1,,,T1,paint\n" +
		"2026-06-12T14:00:09Z,40.00002,-80.9998,,GAS,A,R1,,,T1,\n" +
		"2026-06-13T14:00:09Z,40.00003,-80.9997,,,B,,,,,flag\n"
	in := input{marks: map[string]string{"f/m.csv": text}}
	want := evidence(t, in.options(t))
	if strings.Count(want, "mark f/m.csv") != 3 {
		t.Fatalf("three marks:\n%s", want)
	}
	var geo, gpx strings.Builder
	points := &shapefile.Layer{Name: "m", Type: shapefile.Point}
	for _, name := range []string{"TIME", "UTIL", "CREW", "RX", "TICKET", "REMARK"} {
		points.Fields = append(points.Fields, shapefile.Field{Name: name, Type: 'C', Length: 25})
	}
	for i, row := range strings.Split(strings.TrimSpace(text), "\n")[1:] {
		v := strings.Split(row, ",")
		fmt.Fprintf(&geo, `{"type":"Feature","geometry":{"type":"Point","coordinates":[%s,%s]},"properties":{"TIME":"%s","UTIL":"%s","CREW":"%s","RX":"%s","TICKET":"%s","REMARK":"%s"}}`+"\n", v[2], v[1], v[0], v[4], v[5], v[6], v[9], v[10])
		fmt.Fprintf(&gpx, `<wpt lat="%s" lon="%s"><time>%s</time><cmt>%s</cmt><extensions><UTIL>%s</UTIL><CREW>%s</CREW><RX>%s</RX><TICKET>%s</TICKET></extensions></wpt>`, v[1], v[2], v[0], v[10], v[4], v[5], v[6], v[9])
		var p orb.Point
		if _, err := fmt.Sscan(v[2]+" "+v[1], &p[0], &p[1]); err != nil {
			t.Fatal(err)
		}
		points.Rows = append(points.Rows, shapefile.Row{Number: i + 1, Points: []orb.Point{p}, Values: []string{v[0], v[4], v[5], v[6], v[9], v[10]}})
	}
	for ext, write := range map[string]func(path string){
		".geojson": func(path string) { writeText(t, path, geo.String()) },
		".gpx": func(path string) {
			writeText(t, path, `<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">`+gpx.String()+`</gpx>`)
		},
		".shp": func(path string) {
			if err := shapefile.Write(path, points); err != nil {
				t.Fatal(err)
			}
		},
	} {
		o := in.options(t)
		s := &o.Marks[0]
		s.Path = filepath.Join(t.TempDir(), "m"+ext)
		s.Positions, s.Session = Positions{}, Column{}
		if ext == ".gpx" {
			s.Time, s.Remark.Name = Column{}, "cmt" // the time is GPX's own
		}
		write(s.Path)
		if got := evidence(t, o); got != want {
			t.Errorf("%s:\n%s\nwant:\n%s", ext, got, want)
		}
	}
}

// An exposure takes its elevation from its own point where no column has it, and
// its depth is to what the source says.
func TestExposuresFromPoints(t *testing.T) {
	o := input{exposures: map[string]string{"f/h.csv": holesHeader}}.options(t)
	s := &o.Exposures[0]
	s.Path = filepath.Join(t.TempDir(), "h.geojson")
	s.File.CRS, s.Positions, s.DepthTo = "", Positions{}, survey.DepthToCentre
	s.ID.Name, s.Fitting, s.Receiver, s.Session, s.Ticket, s.Remark, s.Time = "no", Column{}, Column{}, Column{}, Column{}, Column{}, Column{}
	s.Depth.Name, s.Diameter.Name, s.Utility.Name, s.Crew.Name = "in", "dia", "u", "who"
	writeText(t, s.Path, `{"type":"Feature","geometry":{"type":"Point","coordinates":[-80.9999,40,251.25]},"properties":{"no":7,"in":48,"dia":6,"u":"WTR","who":"S"}}`)
	got, err := Files(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Exposures) != 1 {
		t.Fatalf("%d exposures: %v %v", len(got.Exposures), got.Rejects, got.Notes)
	}
	e, inch := got.Exposures[0], 0.0254
	if e.ID != "7" || e.ElevationM != 251.25 || e.DepthM != 48*inch || e.DepthTo != survey.DepthToCentre || e.DiameterM != 6*inch || e.Utility != "water" ||
		e.Session != "S / unnamed receiver" || !(e.Scale > 0.9995 && e.Scale < 0.9997) {
		t.Errorf("%+v", e)
	}
}

// repeated is the note on rows that say the same: it names them.
var repeated = regexp.MustCompile(`counts once with it \(.*`)

// evidenceRows draws the rows of a file of marks and of one of exposures.
func evidenceRows(t *rapid.T) (marks, holes []string) {
	pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
	for i := range rapid.IntRange(0, 30).Draw(t, "rows") {
		when := time.Date(2026, 6, 12, 14, 0, i/2, 0, time.UTC).Format(time.RFC3339)
		when = pick("time", when, when, when, "", "late")
		at := fmt.Sprintf("%.6f,%.6f", 40+float64(i/3)*1e-5, -81+float64(i/3)*1e-5)
		mark := fmt.Sprintf("%s,%s,%s,%s,%s,R1,,,%s,%s", when, at, pick("accuracy", "0.02", "", "-1"), pick("utility", "WTR", "TEL"), pick("crew", "A", "B"), pick("ticket", "T1", "T2"), pick("remark", "", "x"))
		hole := fmt.Sprintf("TH%d,%s,%s,,%s,%s,%s,WTR,%s,S,,,,%s,%s", i/3, when, at, pick("accuracy", "0.02", ""), pick("depth", "36", "-1", "-9"), pick("diameter", "6", "0", ""), pick("fitting", "", "V1"), pick("ticket", "T1", "T2"), pick("remark", "", "x"))
		for range pick("again", "", "", "+") + "+" {
			marks, holes = append(marks, mark), append(holes, hole)
		}
	}
	return marks, holes
}

// TestEvidenceAddsUp shuffles the rows of marks and exposures, and hands a file
// in twice: every row is in one account, nothing but row numbers changes, and
// all rows of the second file are duplicates.
func TestEvidenceAddsUp(t *testing.T) {
	o := input{
		marks:     map[string]string{"f/m.csv": marksHeader, "f/m2.csv": marksHeader},
		exposures: map[string]string{"f/h.csv": holesHeader, "f/h2.csv": holesHeader},
	}.options(t)
	o.MaxRejectShare = 1
	files := func(t *rapid.T, marks, holes []string) (*survey.Survey, string) {
		for i := range 2 {
			for path, text := range map[string]string{o.Marks[i].Path: marksHeader + strings.Join(marks, "\n"), o.Exposures[i].Path: holesHeader + strings.Join(holes, "\n")} {
				if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err)
		}
		return s, repeated.ReplaceAllString(dump(s, false), "")
	}
	rapid.Check(t, func(t *rapid.T) {
		marks, holes := evidenceRows(t)
		s, want := files(t, marks, holes)
		rejects := map[string]int{}
		for _, r := range s.Rejects {
			rejects[r.File]++
		}
		first, second := map[survey.Role]survey.Source{}, map[survey.Role]survey.Source{}
		for _, src := range s.Sources {
			if src.Rows != src.Used+src.Duplicates+src.Rejected || src.Rejected != rejects[src.Name] {
				t.Fatalf("%s: %+v, %d rejects", src.Name, src, rejects[src.Name])
			}
			if _, met := first[src.Role]; !met {
				first[src.Role] = src
			} else {
				second[src.Role] = src
			}
		}
		for role, src := range second {
			if src.Used != 0 || src.Duplicates != first[role].Used+first[role].Duplicates || src.Rejected != first[role].Rejected {
				t.Fatalf("a file twice: %+v, then %+v", first[role], src)
			}
		}
		if len(s.Marks) != first[survey.RoleMarks].Used || len(s.Exposures) != first[survey.RoleExposures].Used {
			t.Fatalf("%d marks and %d exposures: %+v", len(s.Marks), len(s.Exposures), first)
		}
		r := rand.New(rand.NewSource(int64(rapid.IntRange(0, 1<<30).Draw(t, "seed"))))
		r.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
		r.Shuffle(len(holes), func(i, j int) { holes[i], holes[j] = holes[j], holes[i] })
		o.Marks[0], o.Marks[1] = o.Marks[1], o.Marks[0]
		o.Exposures[0], o.Exposures[1] = o.Exposures[1], o.Exposures[0]
		if _, got := files(t, marks, holes); got != want {
			t.Fatalf("shuffled:\n%s\nin order:\n%s", got, want)
		}
	})
}

// FuzzMarks feeds whole files of marks and exposures: rows add up, or the file is
// set aside.
func FuzzMarks(f *testing.F) {
	f.Add([]byte(marksHeader + "2026-06-12T14:00:00Z,40,-81,0.02,WTR,A,R1,,,T1,\n"))
	f.Add([]byte(holesHeader + "TH1,2026-06-12T14:00:00Z,40,-81,,0.01,36,6,WTR,V1,S,,,,,\n"))
	o := input{marks: map[string]string{"f/m.csv": marksHeader}, exposures: map[string]string{"f/h.csv": holesHeader}}.options(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, path := range []string{o.Marks[0].Path, o.Exposures[0].Path} {
			if err := os.WriteFile(path, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		s, err := Files(context.Background(), o)
		if err != nil {
			t.Fatal(err) // a row in no account, or in two, too
		}
		if len(s.Marks) != s.Sources[1].Used || len(s.Exposures) != s.Sources[2].Used {
			t.Fatalf("%d marks, %d exposures: %+v", len(s.Marks), len(s.Exposures), s.Sources)
		}
	})
}
