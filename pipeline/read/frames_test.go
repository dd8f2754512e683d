package read

import (
	"slices"
	"strings"
	"testing"
)

// Files that reach the plane by the same operation are told of once, with what
// it may come to there and what to write; those that need no change of frame are
// not.
func TestFrameNotes(t *testing.T) {
	const rows = "LAT,LON,LINE,TIME\n40.0,-81.0,7,2026-05-20T14:00:00Z\n40.0,-81.0001,7,2026-05-20T14:00:10Z\n"
	for _, c := range []struct {
		name   string
		change func(*Options)
		want   []string // what each note begins with or holds
	}{
		{"one frame", func(*Options) {}, nil},
		{"WGS 84 three times", func(o *Options) {
			for i := range o.Field {
				o.Field[i].CRS = "EPSG:4326"
			}
		}, []string{"f/a.csv and 2 files more: WGS 84 to NAD83: null operation, accurate to about 2 m. If that WGS 84 is ITRF2014 in truth, the positions are 1.26 m off here (epoch 2026.4): then write frame: {name: ITRF2014, epoch: 2026.4} at the file"}},
		{"two operations", func(o *Options) {
			o.Field[0].CRS = "EPSG:4326"
			o.Field[1].CRS = "EPSG:6318"
		}, []string{
			"f/a.csv: WGS 84 to NAD83: null operation, accurate to about 2 m. If",
			"f/b.csv: NAD83(2011) to NAD83: null operation, accurate to about 1 m (NAD83(2011) to NAD83: the adjustments since 1986 moved points by 0.2 to 1 m (EPSG:8971)). Write frame: {name: ...} at the file",
		}},
		{"a stated frame, and records that do not say theirs", func(o *Options) {
			o.Field[0].Frame, o.Field[0].Epoch = "ITRF2014", 2026.4
		}, []string{"f/a.csv: ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch 2026.4, then NAD83(2011) to NAD83: null operation, accurate to about 1 m (NAD83(2011) to NAD83: the adjustments since 1986 moved points by 0.2 to 1 m (EPSG:8971)). Write frame: {name: ...} at the records"}},
		{"both sides state theirs", func(o *Options) {
			o.Records[0].Frame = "NAD83(2011)"
			for i := range o.Field {
				o.Field[i].Frame, o.Field[i].Epoch = "ITRF2014", 2026.4
			}
		}, nil},
		{"records in WGS 84", func(o *Options) {
			o.Records[0].CRS = "EPSG:32617"
		}, []string{"f/a.csv and 2 files more: NAD83 to WGS 84: null operation, accurate to about 2 m. If the records' WGS 84 is ITRF2014 in truth, the positions are 1.2"}},
		{"a transformation", func(o *Options) {
			o.Records[0].CRS = "EPSG:32617"
			for i := range o.Field {
				o.Field[i].CRS = "EPSG:4277" // of another continent, but known well enough
			}
		}, []string{"f/a.csv and 2 files more: OSGB36 to WGS 84: 7-parameter transformation EPSG:1314, accurate to about 2 m. A datum shift grid under grids: may do better"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := input{field: map[string]string{"f/a.csv": rows, "f/b.csv": rows, "f/c.csv": rows}, change: c.change}
			notes := slices.DeleteFunc(in.read(t).Notes, func(n string) bool { return !strings.Contains(n, " to ") })
			if len(notes) != len(c.want) {
				t.Fatalf("notes %q, want %d", notes, len(c.want))
			}
			for i, want := range c.want {
				if !strings.Contains(notes[i], want) {
					t.Errorf("note %q, want %q", notes[i], want)
				}
			}
		})
	}
}
