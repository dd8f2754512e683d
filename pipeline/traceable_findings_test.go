package pipeline_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// traceFindings traces the sentence of every finding: in the finding's own columns,
// and in those of the other published files.
func (p *published) traceFindings(t *testing.T, seed uint64, used map[string]int) {
	for _, f := range p.findings {
		sentence, kind := f["sentence"].(string), f["kind"].(string)
		names, problems := trace(sentence, clausesOf[kind], p.about(t, f))
		if sentence == "" || len(problems) > 0 {
			t.Errorf("town %d, %s: %s\n%s", seed, f["finding"], strings.Join(problems, "\n"), sentence)
		}
		for _, n := range names {
			used[kind+": "+n]++
		}
	}
}

var (
	undecidedClause = [2]string{"undecided", `Undecided(?: \(a conditional (?:pass|fail) in the words of ILAC-G8:09/2019, 4\.2\.3\))?: an uncertainty of {decide} m would decide it\.`}
	patternClauses  = [][2]string{
		{"pattern of a sheet", `The covers of sheet {sheet:\S+}} look like {looks:.*?}}: {pattern_records} surveyed records? of it differ from the readings, by {pattern_mean} m on average\. This data attributes the difference to the record\.`},
		{"regraded", `{pattern_records} surveyed records of {pattern_utilities} utilit(?:y|ies) and {pattern_sheets} sheets? within 50 m differ alike, by {pattern_offset} m of cover: a surface that was (?:raised|lowered) since is the likely cause \(probability {pattern_probability}\), not the records\.`},
	}
	clausesOf = map[string][]clause{
		"position": clauses(
			[2]string{"where", `Between stations {from} m and {to} m {readings} readings? put the line {size} m {side:to the (?:left|right)}} of the map \(u {u} m, tolerance {tolerance} m\)\.`},
			[2]string{"record", `Of a mean raw difference of {raw} m the model puts {record} m down to the record(?: \({sheet_m} m of it common to sheet {sheet:\S+}}\))? and {positions} m to the positions and the crew\. This data attributes the difference to the record \(probability {attributed:[^,]+}}, no session's own word counted for it\)\.`},
			[2]string{"frame", `The readings as taken lie {raw_size} m off, {field} m of it from session and bias and {source} m from the source of positions; with these taken out the record is within\. This data attributes the difference to the (?:field|frame of the positions) \(probability {attributed:[^,]+}}, no session's own word counted for it\)\.`},
			[2]string{"inseparable, whoever is left out", `Of a mean raw difference of {raw} m the record's part and the positions' \(u {field_u} m\) cannot be told apart: a test hole on the record between {from_1} m and {to_1} m, readings of another session there, or control checks of those that read it would\.`},
			[2]string{"inseparable, by a session's word", `Inseparable: the model puts {record} m of a mean raw difference of {raw} m down to the record, but without the word of {rests_on:.*?}} that would not be sure \(probability {attributed:[^)]+}}\)\. (?:A control check|More control checks) of .*?, a test hole on the record between {from_1} m and {to_1} m or another session on it would tell them apart\.`},
			[2]string{"beside an unread record", `{readings} readings? of a {utility:\S+}} line run {size} m {side:to the (?:left|right)}} of the map, on average, beside stations {from} m to {to} m, and nothing else was read there\. Either the line lies there, or the map lacks one here; readings on a line where the map has it would tell\.`},
			[2]string{"not sure to be its own", `Within tolerance where its readings are sure to be its own\. But between stations {from} m and {to} m {readings} readings?, which are likeliest its own though not for sure \(probability {probability}\), lie {size} m {side:to the (?:left|right)}} of the map, by their median \(tolerance {tolerance} m\)\. Undecided: readings that follow the line from where it is sure would tell\.`},
			undecidedClause,
		),
		"depth": clauses(append([][2]string{
			{"depth", `{readings} depth readings? say that the line lies {size} m {deeper:deeper|shallower}} than the map's cover of {cover} m \(u {u} m, tolerance {tolerance} m\)\.`},
			{"sonde", `All {sonde_readings} depths? are a sonde's: had the receiver been in a line mode, which these depths do not show, the cover would be {sonde_cover} m\.`},
			{"line mode", `But all {sonde_readings} depths? are a sonde's, and look as if the receiver had been in a line mode: read as a sonde's they would put the cover at {sonde_cover} m\. Inseparable: a depth with the receiver's sonde mode, or in a test hole, would tell\.`},
			{"outside", `This data attributes the difference to the record, or to a surface that was regraded since\.`},
			undecidedClause,
		}, patternClauses...)...),
		"cover_pattern": clauses(patternClauses...),
		"cover": clauses(
			[2]string{"cover", `Between stations {from} m and {to} m the cover is {least} m where it is worst \(u {u} m\), from {readings} depth readings? on the record; {basis:.*?}} asks for {tolerance} m\. It is less with a probability of {probability}\.`},
			undecidedClause,
			[2]string{"local code", `The local code decides which minimum holds here; a depth reading is an estimate\.`},
		),
		"unmapped": clauses(
			[2]string{"unmapped", `{readings} readings? of a {utility:\S+}} line over {length} m fit no record \(probability {probability}\): the map may lack a line here\. Taken in {sessions_n} sessions?: {sessions:.*}}\.`},
		),
		"not_detected": clauses(
			[2]string{"not detected", `Not detected in a sweep for {utility:\S+}} lines of ticket {ticket:\S+}} on {swept:\S+}} \({method:[^)]+}}\): {long} m of the record lie inside the swept area and no reading is on it for sure\. That does not say that no line is there\.`},
		),
		"not_traceable": clauses(
			[2]string{"not traceable", `Not traceable: {long} m of the record lie inside an area swept for {utility:\S+}} lines of ticket {ticket:\S+}} on {swept:\S+}} \({method:[^)]+}}\), but the map says that no signal can be put on it\. A sweep for signals says nothing of it, neither that it is there nor that it is not\.`},
		),
		"correction": clauses(
			[2]string{"stays", `At station {from} m the record stays, since [^.]+\. The evidence of what meets there asks for a move that is not made: {size} m of it\.`},
			[2]string{"opened", `At station {from} m the corrected line no longer meets record {basis:\S+}}: they are {size} m apart\.`},
			[2]string{"held back", `Between stations {from} m and {to} m the corrected line would run {size} m on the other side of record {basis:\S+}} than it is drawn, and the evidence is not sure of where both lie: it is held back there\. Survey record \S+ beside it\.`},
			[2]string{"other side", `Between stations {from} m and {to} m the corrected line runs up to {size} m on the other side of record {basis:\S+}} than it is drawn, (?:as the adjusted map has both|though the evidence is not sure of it)\.`},
			[2]string{"crosses itself", `Between stations {from} m and {to} m the corrected line (?:would cross|crosses) itself where the map's does not(?:: it is held back there)?\.`},
			[2]string{"leaves", `At station {from} m the corrected line lies {size} m from where the adjusted evidence has it, beyond its interval of {tolerance} m: what meets it or is held there keeps it back\.`},
		),
		"mark": clauses(
			[2]string{"mark", `The (?:mark|line between two marks)(?: of ticket {ticket:\S+}})? of {marked:\S+}} lies {size} m {side:to the (?:left|right)}} of the line exposed in {hole:\S+}}(?: on {exposed:\S+}})? \(u {u} m, of both positions\); the tolerance zone by {basis:.*?}} reaches {tolerance} m to either side\. It lies beyond with a probability of {probability}\. The map of this run has the line {map_size} m {map_side:to the (?:left|right)}} of it\.`},
			undecidedClause,
			[2]string{"local law", `The local law decides what zone holds\. This compares positions and assigns no liability\.`},
		),
	}
)

// text and value are of a finding's property; "" and NaN where it has none.
func text(f map[string]any, name string) string {
	s, _ := f[name].(string)
	return s
}

func value(f map[string]any, name string) float64 {
	if v, ok := f[name].(float64); ok {
		return v
	}
	return math.NaN()
}

func side(offset float64) string {
	if offset < 0 {
		return "to the left"
	}
	return "to the right"
}

// probably is a probability as sentences have it.
func probably(p float64) string {
	if p > 0.99 {
		return "over 0.99"
	}
	return fmt.Sprintf("%.2f", p)
}

// about is what the files say of what a finding is about.
func (p *published) about(t *testing.T, f map[string]any) found {
	offset := value(f, "offset_m")
	out := found{
		numbers: map[string]float64{
			"from": value(f, "from_m"), "to": value(f, "to_m"), "long": value(f, "to_m") - value(f, "from_m"), "readings": value(f, "readings"), "size": math.Abs(offset), "u": value(f, "offset_u_m"),
			"tolerance": value(f, "tolerance_m"), "decide": value(f, "decide_at_u_m"), "probability": value(f, "probability"), "least": value(f, "tolerance_m") + offset, "length": value(f, "length"),
		},
		texts: map[string]string{
			"side": side(offset), "sheet": text(f, "sheet"), "utility": text(f, "utility"), "basis": text(f, "basis"), "attributed": probably(value(f, "attribution_probability")),
			"deeper": map[bool]string{true: "shallower", false: "deeper"}[offset < 0],
		},
	}
	if out.texts["utility"] == "" {
		out.texts["utility"] = "unlabelled"
	}
	if text(f, "kind") == string(survey.KindCover) {
		out.slackM = 1e-3 // the minimum has three decimals
	}
	record := text(f, "record")
	if rec := p.records[record]; rec != nil && rec["cover_m"] != "" {
		out.numbers["cover"] = float(t, rec["cover_m"])
	}
	if sh := p.shares[record]; sh != nil {
		of := func(names ...string) (sum float64) {
			for _, n := range names {
				sum += float(t, sh[n+"_m"])
			}
			return sum
		}
		out.slackM = max(out.slackM, 2e-4) // sums of rounded parts
		out.numbers["raw"], out.numbers["raw_size"], out.numbers["sheet_m"], out.numbers["source"] = of("raw"), math.Abs(of("raw")), of("sheet"), of("source")
		out.numbers["record"], out.numbers["positions"] = of("sheet", "own", "local"), of("session", "source", "bias", "noise")
		out.numbers["field"], out.numbers["field_u"] = of("session", "bias", "noise"), float(t, sh["field_u_m"])
		out.texts["rests_on"] = listOf(strings.Split(sh["rests_on"], ", "))
	}
	if text(f, "kind") == string(survey.KindDepth) {
		p.aboutSonde(t, record, &out)
	}
	p.aboutSweep(f, &out)
	p.aboutMark(t, f, &out)
	p.aboutPattern(t, f, &out)
	if text(f, "kind") == string(survey.KindUnmapped) {
		p.aboutUnmapped(f, &out)
	}
	return out
}

// aboutSonde is what a record's depths would make of its cover if a sonde had been
// read in a line mode: the coils are 0.4 m apart.
func (p *published) aboutSonde(t *testing.T, record string, out *found) {
	radius := math.NaN()
	for i := range p.result.Survey.Records {
		if rec := &p.result.Survey.Records[i]; rec.ID == record {
			radius = rec.DiameterM / 2
		}
	}
	var depths []float64
	for _, r := range p.readings {
		if r["record"] == record && r["cover_difference_m"] != "" && (r["status"] == "used" || r["status"] == "sonde") {
			depths = append(depths, float(t, r["cover_difference_m"])+out.numbers["cover"]+radius)
		}
	}
	out.numbers["sonde_readings"] = float64(len(depths))
	if len(depths) > 0 {
		out.numbers["sonde_cover"] = 0.4/(math.Cbrt(1+0.4/estimate.Median(depths))-1) - radius
	}
}

func (p *published) aboutSweep(f map[string]any, out *found) {
	for i := range p.result.Survey.Areas {
		if a := &p.result.Survey.Areas[i]; strings.Contains(text(f, "sentence"), a.Ticket) && slices.Contains(a.Utilities, text(f, "utility")) {
			out.texts["ticket"], out.texts["swept"], out.texts["method"] = a.Ticket, a.Date, a.Method
		}
	}
}

func (p *published) aboutMark(t *testing.T, f map[string]any, out *found) {
	for _, c := range p.checks {
		if text(f, "kind") == string(survey.KindMark) && c["record"] == text(f, "record") && c["offset_m"] != "" && math.Abs(float(t, c["offset_m"])-value(f, "offset_m")) < 1e-9 {
			out.texts["ticket"], out.texts["marked"], out.texts["hole"], out.texts["exposed"] = c["ticket"], c["marked_on"], c["exposure"], c["exposed_on"]
			out.numbers["map_size"], out.texts["map_side"] = math.Abs(float(t, c["map_offset_m"])), side(float(t, c["map_offset_m"]))
		}
	}
}

// aboutUnmapped finds who walked along a line that the map lacks.
func (p *published) aboutUnmapped(f map[string]any, out *found) {
	said := text(f, "sentence")
	said = said[strings.Index(said, "Taken in "):]
	said = strings.TrimSuffix(said[strings.Index(said, ": ")+2:], ".")
	known := map[string]bool{}
	for _, s := range p.sessions {
		known[s["session"]] = true
	}
	sessions := strings.Split(said, "; ")
	for _, s := range sessions {
		if !known[s] {
			said = "no such session: " + s
		}
	}
	out.texts["sessions"] = said
	out.numbers["sessions_n"] = float64(len(sessions))
}

// aboutPattern works out again what covers have in common: of the finding itself, or
// of the pattern that a depth lies under.
func (p *published) aboutPattern(t *testing.T, f map[string]any, out *found) {
	record := text(f, "record")
	for _, q := range p.findings {
		if text(q, "kind") != string(survey.KindCoverPattern) {
			continue
		}
		records := strings.Split(text(q, "records"), ", ")
		if text(q, "finding") != text(f, "finding") && !slices.Contains(records, record) {
			continue
		}
		sum, utilities, sheets := 0.0, map[string]bool{}, map[string]bool{}
		for _, r := range records {
			sum += float(t, p.records[r]["cover_difference_m"])
			utilities[p.records[r]["utility"]], sheets[p.records[r]["sheet"]] = true, true
		}
		out.numbers["pattern_records"], out.numbers["pattern_mean"] = float64(len(records)), sum/float64(len(records))
		out.numbers["pattern_utilities"], out.numbers["pattern_sheets"] = float64(len(utilities)), float64(len(sheets))
		out.numbers["pattern_offset"], out.numbers["pattern_probability"] = value(q, "offset_m"), value(q, "probability")
		out.texts["sheet"] = text(q, "sheet")
		if text(q, "sheet") != "" {
			out.texts["looks"] = p.looksLike(t, records)
		}
	}
}
