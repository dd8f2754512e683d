package publish

import "testing"

func TestProfiles(t *testing.T) {
	r := handful(t)
	nodes := r.Model.Profiles[0].Nodes // the other profile has no reading of its own
	nodes[1].Readings, nodes[2].Readings, nodes[4].Readings = 1, 1, 2
	const want = `record,station_m,offset_m,offset_u_m,readings
WM-1,0.000,0.1000,0.2000,0
WM-1,20.000,0.2000,0.0700,1
WM-1,40.000,1.0000,0.0600,1
WM-1,50.000,1.0500,0.0700,0
WM-1,60.000,1.1000,0.0800,2
WM-1,100.000,0.9000,0.2500,0
`
	if got := contents(t, run(t, r), "profiles.csv"); got != want {
		t.Errorf("profiles.csv:\n%s", got)
	}
	r.Model = nil
	if got := contents(t, run(t, r), "profiles.csv"); got != want[:46] {
		t.Errorf("without a model:\n%q", got)
	}
}
