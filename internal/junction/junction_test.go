package junction

import (
	"testing"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/paulmach/orb"
)

func line(group string, pts ...orb.Point) Line {
	return Line{lineref.New(orb.MultiLineString{pts}, 1), group}
}

func TestFind(t *testing.T) {
	main := line("water", orb.Point{0, 0}, orb.Point{50, 0}, orb.Point{100, 0})
	tests := []struct {
		name  string
		lines []Line
		want  [][]Member
	}{
		{
			"an end on an end",
			[]Line{main, line("water", orb.Point{100, 0.005}, orb.Point{100, 30})},
			[][]Member{{{0, 0, 1, 2, 100}, {1, 0, 0, 0, 0}}},
		},
		{
			"an end on a vertex",
			[]Line{main, line("water", orb.Point{50, 0}, orb.Point{50, 30})},
			[][]Member{{{0, 0, 0, 1, 50}, {1, 0, 0, 0, 0}}},
		},
		{
			"an end between vertices",
			[]Line{main, line("water", orb.Point{20, 30}, orb.Point{20, 0})},
			[][]Member{{{0, 0, 0, -1, 20}, {1, 0, 0, 1, 30}}},
		},
		{"another group", []Line{main, line("gas", orb.Point{50, 0}, orb.Point{50, 30})}, nil},
		{"a crossing", []Line{main, line("water", orb.Point{20, -30}, orb.Point{20, 30})}, nil},
		{
			"a ring",
			[]Line{line("gas", orb.Point{0, 0}, orb.Point{9, 0}, orb.Point{9, 12}, orb.Point{0, 0})},
			[][]Member{{{0, 0, 0, 0, 0}, {0, 0, 2, 3, 36}}},
		},
		{
			"three at one place",
			[]Line{
				line("gas", orb.Point{0, 0}, orb.Point{9, 0}),
				line("gas", orb.Point{9, 0}, orb.Point{20, 0}),
				line("gas", orb.Point{9, 9}, orb.Point{9, 0}),
			},
			[][]Member{{{0, 0, 0, 1, 9}, {1, 0, 0, 0, 0}, {2, 0, 0, 1, 9}}},
		},
		{"nothing", nil, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := Find(tt.lines, 0.01)
			if len(got) != len(tt.want) {
				t.Fatalf("%d junctions, want %d: %v", len(got), len(tt.want), got)
			}
			for i := range got {
				if len(got[i]) != len(tt.want[i]) {
					t.Fatalf("junction %d: %v, want %v", i, got[i], tt.want[i])
				}
				for k := range got[i] {
					if got[i][k] != tt.want[i][k] {
						t.Errorf("junction %d member %d: %+v, want %+v", i, k, got[i][k], tt.want[i][k])
					}
				}
			}
		})
	}
}
