package pipeline_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/mistakes"
	"github.com/asfound/asfound/pipeline/survey"
)

// traceEffects traces what is said of every sheet, session and source of positions.
func (p *published) traceEffects(t *testing.T, seed uint64, used map[string]int) {
	about := map[string]func(*testing.T, map[string]string) found{"sheet": p.aboutSheet, "session": p.aboutSession, "source": p.aboutSource}
	for _, e := range p.effects {
		kind := e["effect"]
		f := about[kind](t, e)
		p.aboutMistake(e, &f)
		f.texts["rests_on"] = listOf(strings.Split(e["rests_on"], ", "))
		names, problems := trace(e["explanation"], explanations[kind], f)
		if len(problems) > 0 {
			t.Errorf("town %d, %s %s: %s\n%s", seed, kind, e["name"], strings.Join(problems, "\n"), e["explanation"])
		}
		for _, n := range names {
			used[kind+": "+n]++
		}
	}
}

// seldom are clauses of cases that a few towns need not hold.
var seldom = map[string]bool{
	"position: frame": true, "position: inseparable, whoever is left out": true, "position: inseparable, by a session's word": true, "position: beside an unread record": true, "position: not sure to be its own": true,
	"depth: regraded": true, "depth: sonde": true, "depth: line mode": true, "cover_pattern: regraded": true, "not_traceable: not traceable": true, "mark: undecided": true,
	"sheet: aslant": true, "sheet: no walk along it": true, "sheet: not across": true, "sheet: fits": true, "sheet: under a surface": true, "sheet: rests on": true, "sheet: regraded": true,
	"session: fits": true, "session: no evidence": true, "session: none fits": true, "source: fits": true, "source: bounded": true, "source: no evidence": true, "source: off, the map alone says so": true,
	"correction: stays": true, "correction: opened": true, "correction: crosses itself": true,
}

const (
	checkWords = `(?: {checks} control checks? of (?:one|{checked}) of these sessions: (?:its median is {most} m off the mark|their medians agree with the marks within {most_1} m)\.| The session has no control check\.| None of these sessions has a control check\.)?`
	witnesses  = `(?:{checks_2} control checks?(?:, | and )?)?(?:{others_2} lines? that other sessions read too(?:, | and )?)?(?:{sheets_2} drawings? that it read)?(?:what is expected of the map)?`
	sourceSaid = `(?:{checks_3} control checks? in {checked_3} sessions?(?:, | and )?)?(?:{others_3} lines? that other sources read too(?:, | and )?)?(?:{sheets_3} drawings? read with it)?(?:what is expected of the map)?`
)

var (
	noEvidence   = [2]string{"no evidence", `No evidence: nothing is known of it\.`}
	noneFits     = [2]string{"none fits", `None of {mistakes} mistakes of frame, unit or axes that are possible here fits\.`}
	fits         = [2]string{"fits", `It fits a known mistake: .*? would give {mistake_m} m to the {mistake_way:\S+}} \(u {mistake_u} m(?:; so does [^)]*)?\)\.`}
	explanations = map[string][]clause{
		"sheet": clauses(append([][2]string{
			noEvidence,
			{"none", `No shift worth naming \({size} m, u {u} m\)\.`},
			{"shift", `{show} of {could} surveyed lines? of drawing {name:\S+}} that could show it lie {shown} m {back:\S+}} of where {crews} crews?(?: in {sessions} sessions)? found them \(u {shown_u} m\): add {shown_1} m to the {way:\S+}}\.`},
			{"aslant", `No surveyed line of drawing {name:\S+}} lies across its shift, which they show aslant: they lie {shown} m {back:\S+}} of where {crews} crews?(?: in {sessions} sessions)? found them \(u {shown_u} m\): add {shown_1} m to the {way:\S+}}\.`},
			{"no walk along it", `Its {records} records? lie {size} m {back:\S+}} of where the readings put them \(u {u} m\); add {size_1} m {way:\S+}} to them\.`},
			{"not across", `No shift worth naming across its lines \({shown} m, u {shown_u} m\)\.`},
			{"along", `All its surveyed lines run much the same way, and along themselves they show nothing: that the vector has {along} m to the {along_way:\S+}} there \(u {along_u} m\) is no observation\.`},
			{"off itself", `Left out of what follows, being off itself: {off:.*?}}\.`},
			{"crews", `On {compared} lines? that more than one crew read they (?:agree within|differ by up to) {apart} m\.`},
			{"checks", strings.TrimSuffix(strings.TrimPrefix(checkWords, `(?: `), `)?`)},
			noneFits, fits,
			{"record", `This data attributes the difference to the record\.`},
			{"rests on", `Inseparable: without the word of {rests_on:.*?}} the shift would not stand\. .*? would tell them apart\.`},
			{"under a surface", `Covers of \d+ records? of it lie under finding S-[0-9a-f]+:`},
		}, patternClauses...)...),
		"session": clauses(
			noEvidence,
			[2]string{"off", `Its positions lie {size} m {way:\S+}} of the truth \(u {u} m\)\. Its own word aside, ` + witnesses + ` put them {others_size} m {others_way:\S+}} of it \(u {others_u} m\): this data attributes that to the field\.`},
			[2]string{"good", `No error of its positions to be seen: its own word aside, ` + witnesses + ` put them within {bound} m of the truth \(95 %\)\.`},
			[2]string{"inseparable", `Inseparable: its own word aside, ` + witnesses + ` bound the error of its positions to {bound} m only \(95 %\)\. (?:A|More) control checks? of this session(?: or another session on (?:the line|one of the {alone} lines) that it alone read)? would tell\.`},
			noneFits, fits,
		),
		"source": clauses(
			noEvidence,
			[2]string{"off", `Its positions lie {size} m {way:\S+}} of the truth \(u {u} m\), in all {sessions} sessions? that had them from it: add {size_1} m to the {back:\S+}}\.(?: {checks} control checks? of {checked} of these sessions put it {checks_size} m {checks_way:\S+}} of the marks, by the median of their medians\.)?(?: Of {lines} lines? that it read {others} (?:was|were) read with another source of positions too\.)? This data attributes that to the frame of the positions\.`},
			[2]string{"off, the map alone says so", `All its positions seem to lie {size} m {way:\S+}} of the truth \(u {u} m\), or the map as far the other way: {sessions} sessions? had them from it and read {lines} lines? of {sheets} drawings?\. Inseparable: .*? would tell\.`},
			[2]string{"good", `No error of its positions to be seen: ` + sourceSaid + ` put them within {bound} m of the truth \(95 %\)\.`},
			[2]string{"exposed places", `No trace and no control check was taken with it, only exposed places: what is expected of it and what else was read there put it within {bound} m of the truth \(95 %\)\.`},
			[2]string{"bounded", `Inseparable from a map that is off: ` + sourceSaid + ` bound the error of its positions to {bound} m only \(95 %\), and .*? would tell\.`},
			noneFits, fits,
		),
	}
)

var winds = strings.Fields("north north-east east south-east south south-west west north-west")

func wind(east, north float64) string {
	return winds[int(math.Round(math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)/45))%8]
}

// aboutEffect is what an effect's own row says.
func aboutEffect(t *testing.T, e map[string]string) (f found, east, north float64) {
	east, north = float(t, e["east_m"]), float(t, e["north_m"])
	u := max(float(t, e["east_u_m"]), float(t, e["north_u_m"]))
	size := math.Hypot(east, north)
	return found{
		numbers: map[string]float64{"size": size, "u": u, "bound": size + 1.96*u},
		texts:   map[string]string{"name": e["name"], "way": wind(east, north), "back": wind(-east, -north)},
		slackM:  2e-4,
	}, east, north
}

var knownMistake = regexp.MustCompile(`It fits a known mistake: (.*?) would give`)

// aboutMistake looks a mistake up among those that are possible there.
func (p *published) aboutMistake(e map[string]string, f *found) {
	possible, sign := mistakes.OfPositions(p.result.Survey, mistakes.Epoch), -1.0
	if e["effect"] == "sheet" {
		for i := range p.result.Survey.Records {
			if rec := &p.result.Survey.Records[i]; rec.Sheet == e["name"] {
				possible, sign = mistakes.OfRecords(p.result.Survey, mistakes.Epoch)[rec.Layer], 1
				break
			}
		}
	}
	f.numbers["mistakes"] = float64(len(possible))
	if said := knownMistake.FindStringSubmatch(e["explanation"]); said != nil {
		for _, k := range possible {
			if k.Name == said[1] {
				f.numbers["mistake_m"], f.numbers["mistake_u"] = math.Hypot(k.East, k.North), k.U
				f.texts["mistake_way"] = wind(sign*k.East, sign*k.North)
			}
		}
	}
}

// onLine are the used readings on one record, and what a shift would show there.
type onLine struct{ n, offset, east, north, ee, en, nn float64 }

func (l *onLine) add(t *testing.T, r map[string]string) {
	sin, cos := math.Sincos(float(t, r["right_deg"]) * math.Pi / 180)
	l.n, l.offset, l.east, l.north = l.n+1, l.offset+float(t, r["offset_m"]), l.east+sin, l.north+cos
	l.ee, l.en, l.nn = l.ee+sin*sin, l.en+sin*cos, l.nn+cos*cos
}

func (l *onLine) shows(east, north float64) float64 { return (east*l.east + north*l.north) / l.n }

// left is what a shift leaves of the mean offset.
func (l *onLine) left(east, north float64) float64 { return l.offset/l.n - l.shows(east, north) }

// aboutSheet finds again, from readings.csv and effects.csv, what is said of a
// sheet.
func (p *published) aboutSheet(t *testing.T, e map[string]string) found {
	f, east, north := aboutEffect(t, e)
	off := map[string]bool{}
	for _, s := range p.effects {
		off[s["name"]] = off[s["name"]] || s["effect"] == "session" && s["significant"] == "true"
	}
	all, byCrew := map[string]*onLine{}, map[string]map[string]*onLine{}
	crews, sessions, left := map[string]bool{}, map[string]bool{}, map[string]bool{}
	records := 0
	for _, r := range p.records {
		if r["sheet"] == e["name"] {
			records++
		}
	}
	for _, r := range p.readings {
		if r["status"] != "used" || p.records[r["record"]]["sheet"] != e["name"] {
			continue
		}
		record := r["record"]
		crews[r["crew"]], sessions[r["session"]] = true, true
		if all[record] == nil {
			all[record], byCrew[record] = &onLine{}, map[string]*onLine{}
		}
		all[record].add(t, r)
		if off[r["session"]] {
			left[r["session"]] = true
			continue
		}
		if byCrew[record][r["crew"]] == nil {
			byCrew[record][r["crew"]] = &onLine{}
		}
		byCrew[record][r["crew"]].add(t, r)
	}
	east, north = shown(t, e, all, east, north, &f)
	could, show, compared, apart := 0.0, 0.0, 0.0, 0.0
	for record, l := range all {
		if math.Abs(l.shows(east, north)) >= math.Hypot(east, north)/2 {
			could++
			if math.Abs(l.left(east, north)) < math.Abs(l.offset/l.n) {
				show++
			}
		}
		var means []float64
		for _, of := range byCrew[record] {
			means = append(means, of.left(east, north))
		}
		if len(means) > 1 {
			compared++
			apart = max(apart, slices.Max(means)-slices.Min(means))
		}
	}
	f.numbers["could"], f.numbers["show"], f.numbers["compared"], f.numbers["apart"] = could, show, compared, apart
	f.numbers["crews"], f.numbers["sessions"], f.numbers["records"] = float64(len(crews)), float64(len(sessions)), float64(records)
	f.texts["off"] = listOf(slices.Collect(maps.Keys(left)))
	p.aboutChecks(t, &f, func(s string) bool { return sessions[s] && !off[s] })
	for _, q := range p.findings {
		if text(q, "kind") == string(survey.KindCoverPattern) && (text(q, "sheet") == e["name"] || strings.Contains(e["explanation"], text(q, "finding"))) {
			p.aboutPattern(t, q, &f)
		}
	}
	return f
}

// shown is the part of a sheet's vector that its lines show: where they run much
// the same way, only that across them.
func shown(t *testing.T, e map[string]string, lines map[string]*onLine, east, north float64, f *found) (float64, float64) {
	f.numbers["shown"], f.numbers["shown_u"] = f.numbers["size"], f.numbers["u"]
	var ee, en, nn float64
	for _, l := range lines {
		ee, en, nn = ee+l.ee/l.n, en+l.en/l.n, nn+l.nn/l.n
	}
	if len(lines) == 0 || (ee+nn)/2-math.Hypot((ee-nn)/2, en) >= 0.05*(ee+nn) {
		return east, north
	}
	angle := math.Atan2(en, (ee-nn)/2) / 2
	x, y := math.Cos(angle), math.Sin(angle)
	variance := func(x, y float64) float64 {
		u, v := float(t, e["east_u_m"]), float(t, e["north_u_m"])
		return x*x*u*u + 2*x*y*float(t, e["east_north_m2"]) + y*y*v*v
	}
	across, along := x*east+y*north, x*north-y*east
	f.numbers["shown"], f.numbers["shown_u"] = math.Abs(across), math.Sqrt(variance(x, y))
	f.numbers["along"], f.numbers["along_u"] = math.Abs(along), math.Sqrt(variance(-y, x))
	f.texts["along_way"] = wind(-y*along, x*along)
	east, north = x*across, y*across
	f.texts["way"], f.texts["back"] = wind(east, north), wind(-east, -north)
	return east, north
}

// listOf joins the names of some sessions as sentences do.
func listOf(all []string) string {
	slices.Sort(all)
	switch n := len(all); {
	case n == 0:
		return ""
	case n == 1:
		return all[0]
	case n > 3:
		all = append(all[:3:3], fmt.Sprintf("%d more", n-3))
	}
	return strings.Join(all[:len(all)-1], ", ") + " and " + all[len(all)-1]
}

// aboutChecks finds the control checks of some sessions in sessions.csv.
func (p *published) aboutChecks(t *testing.T, f *found, of func(session string) bool) {
	checks, checked, most := 0.0, 0.0, 0.0
	var east, north []float64
	for _, s := range p.sessions {
		if n := float(t, s["checks"]); of(s["session"]) && n > 0 {
			e, n2 := float(t, s["check_east_m"]), float(t, s["check_north_m"])
			checks, checked, most = checks+n, checked+1, max(most, math.Hypot(e, n2))
			east, north = append(east, e), append(north, n2)
		}
	}
	f.numbers["checks"], f.numbers["checked"], f.numbers["most"] = checks, checked, most
	if checked > 0 {
		e, n := estimate.Median(east), estimate.Median(north)
		f.numbers["checks_size"], f.texts["checks_way"] = math.Hypot(e, n), wind(e, n)
	}
}

// checkedAgain holds what sessions.csv has of the control checks against the file
// that the job was given.
func (p *published) checkedAgain(t *testing.T) {
	name := filepath.Join(p.job, "control.csv")
	if _, err := os.Stat(name); err != nil {
		return
	}
	east, north := map[string][]float64{}, map[string][]float64{}
	for _, r := range rowsOf(t, name) {
		session := fmt.Sprintf("%s / %s / %s", r["CREW"], r["RX"], r["UTC"][:10])
		lat := float(t, r["TRUE_LAT"])
		const perDegree = 6371000 * math.Pi / 180 // to 0.3 %: of some centimetres
		east[session] = append(east[session], (float(t, r["LON"])-float(t, r["TRUE_LON"]))*perDegree*math.Cos(lat*math.Pi/180))
		north[session] = append(north[session], (float(t, r["LAT"])-lat)*perDegree)
	}
	for _, s := range p.sessions {
		of := east[s["session"]]
		if float(t, s["checks"]) != float64(len(of)) {
			t.Errorf("%s has %s control checks, control.csv %d", s["session"], s["checks"], len(of))
			continue
		}
		if len(of) > 0 && math.Hypot(float(t, s["check_east_m"])-estimate.Median(of), float(t, s["check_north_m"])-estimate.Median(north[s["session"]])) > 0.006 {
			t.Errorf("%s: control checks %s %s, %v %v in control.csv", s["session"], s["check_east_m"], s["check_north_m"], of, north[s["session"]])
		}
	}
}

func (p *published) aboutSession(t *testing.T, e map[string]string) found {
	f, _, _ := aboutEffect(t, e)
	for _, s := range p.sessions {
		if s["session"] != e["name"] {
			continue
		}
		for name, column := range map[string]string{"checks": "checks", "others": "lines_of_other_sessions", "sheets": "sheets"} {
			f.numbers[name] = float(t, s[column])
		}
		f.numbers["alone"] = float(t, s["lines"]) - f.numbers["others"]
		east, north := float(t, s["others_east_m"]), float(t, s["others_north_m"])
		u := max(float(t, s["others_east_u_m"]), float(t, s["others_north_u_m"]))
		f.numbers["others_size"], f.numbers["others_u"], f.texts["others_way"] = math.Hypot(east, north), u, wind(east, north)
		f.numbers["bound"] = math.Hypot(east, north) + 1.96*u
	}
	return f
}

func (p *published) aboutSource(t *testing.T, e map[string]string) found {
	f, _, _ := aboutEffect(t, e)
	of := map[string]string{} // session: source
	sessions := 0.0
	for _, s := range p.sessions {
		if of[s["session"]] = s["positions"]; s["positions"] == e["name"] && float(t, s["readings"])+float(t, s["checks"]) > 0 {
			sessions++
		}
	}
	p.aboutChecks(t, &f, func(s string) bool { return of[s] == e["name"] })
	under := map[string]map[string]bool{} // record: sources
	for _, r := range p.readings {
		if r["status"] == "used" {
			if under[r["record"]] == nil {
				under[r["record"]] = map[string]bool{}
			}
			under[r["record"]][of[r["session"]]] = true
		}
	}
	lines, others, sheets := 0.0, 0.0, map[string]bool{}
	for record, sources := range under {
		if !sources[e["name"]] {
			continue
		}
		lines++
		if len(sources) > 1 {
			others++
		}
		if sheet := p.records[record]["sheet"]; sheet != "" {
			sheets[sheet] = true
		}
	}
	f.numbers["sessions"], f.numbers["lines"], f.numbers["others"], f.numbers["sheets"] = sessions, lines, others, float64(len(sheets))
	return f
}
