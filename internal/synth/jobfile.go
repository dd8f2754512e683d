package synth

import (
	"fmt"
	"slices"
	"strings"
)

// config is the job's YAML, with the keys of a user who has just this data.
func (t *Town) config(o WriteOptions) string {
	job := o.Job
	if job == "" {
		job = t.Name + ", spring"
	}
	var b strings.Builder
	p := func(format string, a ...any) { fmt.Fprintf(&b, format, a...) }
	p("job: %s\noutput: out\n", job)
	p("records:\n")
	for i := range t.survey.Layers {
		l := &t.survey.Layers[i]
		p("  - path: %s\n", l.Source)
		if t.Frame.Projection == "" {
			p("    crs: %q\n", t.Frame.CRS)
		}
		p("    utility: %s\n", t.utilityOf(l.Source))
		p("    conductor: {column: COND}\n")
		p("    columns:\n      id: ASSET_ID\n      sheet: DRAWING\n      installed: YR\n      material: MATL\n")
		p("      diameter: {name: DIA_MM, unit: mm}\n      cover: {name: COVER_FT, unit: ft, missing: [9999]}\n")
	}
	t.fieldConfig(p)
	if len(t.survey.Checks) > 0 {
		p("control:\n  - path: %s\n    crs: %s\n", controlFile, plain(t.Frame.Geographic))
		p("    columns: {mark: MARK, time: UTC, latitude: LAT, longitude: LON, accuracy: {name: POS_ACC_FT, unit: ft, means: rms_2d}, ")
		p("true_latitude: TRUE_LAT, true_longitude: TRUE_LON, crew: CREW, receiver: RX, positions: BASE}\n")
	}
	if len(t.survey.Areas) > 0 {
		p("areas:\n  - path: %s\n    utility: {column: SWEPT_FOR}\n    columns: {ticket: TICKET, swept: SWEPT, method: METHOD}\n", areasFile)
	}
	t.evidenceConfig(p, o)
	p("tolerance:\n  confidence: 0.95\n  default: {horizontal: 0.5 m, depth: 0.3 m}\n")
	p("  rules:\n    - {utility: gas, horizontal: 0.3 m, depth: 0.2 m}\n")
	if o.Limits {
		p("cover:\n")
		p("  - {utility: gas, table: us-49cfr192, class: distribution main}\n")
		p("  - {utility: water, table: us-tx-290-44, class: water line}\n")
		p("  - {utility: electric, table: nesc-352-1, class: up to 600 V}\n")
		p("zones:\n  - {law: cga}\n")
	}
	p("correct: {when: outside, apply: proposed}\n")
	p("resurvey:\n  budget: 25000\n  mobilisation: 400\n  per_km: 1800\n")
	p("  consequence:\n    - {utility: gas, weight: 5}\n    - {utility: electric, weight: 3}\n")
	return b.String()
}

func (t *Town) fieldConfig(p func(string, ...any)) {
	p("field:\n  - path: field/*.csv\n    crs: %s\n    depth_to: centre\n    columns:\n", plain(t.Frame.Geographic))
	for _, line := range []string{
		"trace: LINE", "time: UTC", "latitude: LAT", "longitude: LON",
		"accuracy: {name: POS_ACC_FT, unit: ft, means: rms_2d}", "fix: FIX", "positions: BASE",
		"depth: {name: DEPTH_IN, unit: in}", "current: {name: MA, unit: mA}", "frequency: {name: FREQ, unit: Hz}",
		"mode: MODE", "hookup: HOOKUP", "separation: {name: SEP_IN, unit: in}", "utility: " + t.utilityMapping(),
		"crew: CREW", "receiver: RX", "ticket: TICKET", "doubt: DOUBT",
	} {
		p("      %s\n", line)
	}
}

// evidenceConfig names what was seen without a receiver, and the valves.
func (t *Town) evidenceConfig(p func(string, ...any), o WriteOptions) {
	const accuracy = "accuracy: {name: POS_ACC_FT, unit: ft, means: rms_2d}"
	if o.Marks && len(t.Marks) > 0 {
		p("marks:\n  - path: %s\n    crs: %s\n", marksFile, plain(t.Frame.Geographic))
		p("    columns: {time: UTC, latitude: LAT, longitude: LON, %s, positions: BASE, utility: %s, ", accuracy, t.utilityMapping())
		p("crew: CREW, receiver: RX, ticket: TICKET}\n")
	}
	fittings := o.Fittings && len(t.Fittings) > 0
	if o.Exposures && len(t.Holes) > 0 {
		p("exposures:\n  - path: %s\n    crs: %s\n    positions: %s\n    depth_to: top\n", holesFile, plain(t.Frame.Geographic), holesPositions)
		p("    columns: {id: HOLE, time: UTC, latitude: LAT, longitude: LON, %s, depth: {name: DEPTH_IN, unit: in}, ", accuracy)
		p("diameter: {name: DIA_IN, unit: in}, utility: %s, ", t.utilityMapping())
		if fittings {
			p("fitting: VALVE, ")
		}
		p("crew: CREW, receiver: RX}\n")
	}
	if fittings {
		p("fittings:\n  - path: %s\n", fittingsFile)
		if t.Frame.Projection == "" {
			p("    crs: %q\n", t.Frame.CRS)
		}
		p("    utility: {column: KIND, values: %s}\n    columns: {id: VALVE_ID, sheet: DRAWING}\n", t.utilityWords())
	}
}

// utilityMapping says what the crews' codes mean.
func (t *Town) utilityMapping() string { return "{name: UTIL, values: " + t.utilityWords() + "}" }

func (t *Town) utilityWords() string {
	var known []string
	for i := range t.Truth.Lines {
		if u := t.Truth.Lines[i].Utility; !slices.Contains(known, u) {
			known = append(known, u)
		}
	}
	for i := range t.survey.Traces { // what a mislabelled trace says
		if u := t.survey.Traces[i].Utility; u != "" && !slices.Contains(known, u) {
			known = append(known, u)
		}
	}
	slices.Sort(known)
	var values []string
	for _, u := range known {
		values = append(values, fmt.Sprintf("{from: %s, to: %s}", utilityCode(u), u))
	}
	return "[" + strings.Join(values, ", ") + "]"
}

func (t *Town) utilityOf(source string) string {
	for i := range t.survey.Records {
		if t.survey.Records[i].Source == source {
			return t.survey.Records[i].Utility
		}
	}
	return ""
}

// plain is a definition as a YAML scalar: a code as it is, WKT in quotes.
func plain(definition string) string {
	if strings.Contains(definition, `"`) {
		return fmt.Sprintf("%q", definition)
	}
	return definition
}
