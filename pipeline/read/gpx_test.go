package read

import (
	"reflect"
	"strings"
	"testing"
)

func TestGPX(t *testing.T) {
	l, err := parseGPX(strings.NewReader(`<?xml version="1.0" encoding="ISO-8859-1"?>
		<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">
		<metadata><name>a day</name><time>2026-06-12T00:00:00Z</time></metadata>
		<wpt lat="40.1" lon="-81.1"><ele>250.5</ele><name>V-1</name><cmt>caf`+"\xe9"+`</cmt></wpt>
		<trk><name>walk</name>
			<trkseg><trkpt lat="40" lon="-81"><time>2026-06-12T14:00:00Z</time><extensions><d:probe><d:depth>1.2</d:depth></d:probe></extensions></trkpt></trkseg>
			<trkseg><trkpt lat="40" lon="-81x"/><trkpt lat="40"/></trkseg>
		</trk></gpx>`), whole)
	if err != nil {
		t.Fatal(err)
	}
	if got := l.columns(); !reflect.DeepEqual(got, []string{"point", "track", "segment", "ele", "time", "name", "cmt", "depth"}) {
		t.Errorf("columns %q", got)
	}
	var rows []string
	for i := range l.features {
		var r row
		l.pointRow(i, &r)
		rows = append(rows, strings.Join(r.values, "|")+r.damage)
	}
	if want := []string{
		"wpt|||250.5||V-1|café|", "trkpt|walk|1||2026-06-12T14:00:00Z|||1.2",
		`trkpt|walk|2|||||its lon "-81x" is not a number`, "trkpt|walk|2|||||it has no lat and lon",
	}; !reflect.DeepEqual(rows, want) {
		t.Errorf("rows %q, want %q", rows, want)
	}
	if l.features[0].Z[0][0] != 250.5 || l.features[1].Parts[0][0] != [2]float64{-81, 40} {
		t.Errorf("%+v", l.features[:2])
	}
}

func TestGPXThatIsNone(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":       {"", "no gpx element"},
		"other XML":   {"<kml/>", `"kml", not gpx`},
		"cut short":   {`<gpx><wpt lat="40" lon="-81">`, "unexpected EOF"},
		"wrong close": {`<gpx><wpt lat="40" lon="-81"></gpx>`, "line 1"},
		"deep":        {"<gpx>" + strings.Repeat("<a>", 100_000), "more than 64 deep"},
		"long text":   {"<gpx><name>" + strings.Repeat("x", 2<<20), "bytes of text"},
		"entities": {
			`<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><gpx><wpt lat="1" lon="1"><name>&b;</name></wpt></gpx>`,
			"invalid character entity",
		},
		"text after":   {"<gpx></gpx>\n x", "goes on after its end"},
		"another":      {"<gpx/><gpx/>", "goes on after its end"},
		"text between": {`<gpx>x<wpt lat="40" lon="-81"/></gpx>`, "text stands in gpx"},
		"encoding":     {`<?xml version="1.0" encoding="klingon"?><gpx/>`, "klingon"},
	} {
		if _, err := parseGPX(strings.NewReader(c.text), whole); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// TestGPXMisnamed: what has a position where points stand, and is none by name, is
// a rejected row; elsewhere it says nothing.
func TestGPXMisnamed(t *testing.T) {
	l, err := parseGPX(strings.NewReader(`<gpx><wpt lat="40" lon="-81"/><wqt lat="40" lon="-81"/><extensions><x lat="1" lon="2"/></extensions></gpx>`), whole)
	if err != nil || len(l.features) != 2 || l.damage[0] != "" || !strings.Contains(l.damage[1], `called "wqt"`) {
		t.Errorf("%v %+v", err, l)
	}
}

func FuzzGPX(f *testing.F) {
	f.Add(`<gpx><wpt lat="40" lon="-81"><ele>2</ele></wpt><rte><name>n</name><rtept lat="1" lon="2"/></rte></gpx>`)
	f.Add(`<gpx><trk><trkseg><trkpt lat="x"><a><b>1</b></a></trkpt>`)
	f.Fuzz(func(t *testing.T, text string) {
		if l, err := parseGPX(strings.NewReader(text), whole); err == nil {
			checkLayer(t, l)
		}
	})
}
