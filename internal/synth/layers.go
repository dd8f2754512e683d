package synth

import (
	"slices"
	"strconv"

	"github.com/asfound/asfound/pipeline/survey"
)

// layerFields are the columns of every records file.
var layerFields = []survey.Field{
	{Name: "ASSET_ID", Kind: survey.FieldText},
	{Name: "DRAWING", Kind: survey.FieldText},
	{Name: "YR", Kind: survey.FieldNumber},
	{Name: "MATL", Kind: survey.FieldText},
	{Name: "COND", Kind: survey.FieldText},
	{Name: "DIA_MM", Kind: survey.FieldNumber},
	{Name: "COVER_FT", Kind: survey.FieldNumber},
}

// noCover is what the map says where it has no cover.
const noCover = "9999.00"

func recordsName(utility string) string { return utility + "_lines" }
func recordsFile(utility string) string { return "gis/" + recordsName(utility) + ".shp" }

// layers opens a records file for each utility on the map.
func (t *Town) layers(m *townMap) map[string]int {
	var utilities []string
	for i := range m.records {
		if u := m.sheets[m.records[i].sheet].utility; !slices.Contains(utilities, u) {
			utilities = append(utilities, u)
		}
	}
	slices.Sort(utilities)
	index := map[string]int{}
	for i, u := range utilities {
		index[u] = i
		t.survey.Layers = append(t.survey.Layers, survey.Layer{Source: recordsFile(u), Name: recordsName(u), CRS: t.Frame.CRS, Fields: layerFields})
	}
	return index
}

// feature is a record as its file has it: in the file's own unit.
func (t *Town) feature(row int, r *survey.Record, sheetText string) survey.Feature {
	cover := noCover
	if r.CoverM == r.CoverM {
		cover = strconv.FormatFloat(r.CoverM/0.3048, 'f', 2, 64)
	}
	f := survey.Feature{Row: row, Values: []survey.Value{
		{Text: r.ID},
		{Text: sheetText},
		{Text: year(r.Installed)},
		{Text: r.Material},
		{Text: string(r.Conductor)},
		{Text: strconv.Itoa(int(r.DiameterM*1000 + 0.5))},
		{Text: cover},
	}}
	for _, part := range r.Parts {
		f.Parts = append(f.Parts, t.Frame.toUnit(part))
	}
	return f
}

// year is "" for one that is not known.
func year(y int) string {
	if y == 0 {
		return ""
	}
	return strconv.Itoa(y)
}
