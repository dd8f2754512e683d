package publish

import (
	"strings"
	"testing"
)

// A correction raises no quality level and overwrites no attribute: what readings
// say of a record stands beside what the map says.
func TestQualityIsNeverRaised(t *testing.T) {
	r := handful(t)
	mains := &r.Survey.Layers[0]
	mains.Fields[5].Name = "QL"
	for i := range mains.Features {
		mains.Features[i].Values[5].Text = "D"
	}
	r.Survey.Records[0].Quality = "D"
	r.Corrections[0].CoverRead, r.Corrections[0].CoverM, r.Corrections[0].CoverU = true, 1.31, .05
	folder := run(t, r)
	db := openGeoPackage(t, folder)
	if got := strings.Join(ask(t, db, `SELECT QL, asfound_status, asfound_cover_m, asfound_cover_u_m FROM mains WHERE fid < 3`), " / "); got != "D|corrected|1.31|0.05 / D|unchanged||" {
		t.Errorf("the GeoPackage has %s", got)
	}
	if text := contents(t, folder, "records-updated.geojson"); strings.Count(text, `"QL":"D"`) != 4 || !strings.Contains(text, `"asfound_cover_m":1.3100`) {
		t.Errorf("the GeoJSON has\n%s", text)
	}
}
