package synth

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"testing"
)

// The hash of difficulty.yaml, by its version. A score is worth something only
// if what it was made on stays what it was: a changed file needs a new version,
// and a new line here.
var frozen = map[int]string{
	1: "b9e220dff029880fe5299c7d6a738655fd8a45a5d6bc4b9662ab7329d4983781",
}

func TestDifficultyIsFrozen(t *testing.T) {
	sum := sha256.Sum256(difficulty)
	if got := hex.EncodeToString(sum[:]); got != frozen[Version()] {
		t.Errorf("difficulty.yaml version %d has the hash %s, not %q: raise its version and add the hash", Version(), got, frozen[Version()])
	}
	if len(frozen) != Version() {
		t.Errorf("%d hashes for version %d: keep those of earlier versions", len(frozen), Version())
	}
}

func TestPresets(t *testing.T) {
	if got := Presets(); !slices.Equal(got, []string{"easy", "hard", "cruel"}) {
		t.Fatalf("presets %v", got)
	}
	if _, err := Preset("mild"); err == nil || !strings.Contains(err.Error(), "easy, hard, cruel") {
		t.Errorf("an unknown difficulty does not say which there are: %v", err)
	}
	var p [3]Params
	for i, name := range Presets() {
		var err error
		if p[i], err = Preset(name); err != nil {
			t.Fatal(err)
		}
	}
	// Each set is harder than the one before in what makes a town hard.
	for i := 1; i < len(p); i++ {
		a, b := p[i-1], p[i]
		if b.Map.ShiftedSheets <= a.Map.ShiftedSheets || b.Signal.BleedPerKm <= a.Signal.BleedPerKm ||
			b.Crews.FloatHonest >= a.Crews.FloatHonest || b.Network.SameUtility <= a.Network.SameUtility {
			t.Errorf("%s is not harder than %s", Presets()[i], Presets()[i-1])
		}
	}
}

func TestDifficultyIsReadStrictly(t *testing.T) {
	whole := string(difficulty)
	for _, c := range []struct{ from, to, want string }{
		{"avenues: 4", "avenus: 4", "avenus"},
		{"version: 1", "version: 0", "version"},
		{"avenues: 4", "avenues: 0", "avenues"},
		{"apart_m: [1.0, 2.0]", "apart_m: [2.0, 1.0]", "apart_m"},
		{"lines_per_street: [2, 4]", "lines_per_street: [2, 9]", "lines_per_street"},
		{"sheet_sigma_m: 0.1\n", "sheet_sigma_m: -0.1\n", "sheet_sigma_m"},
		{"piece_m: [30, 85]", "piece_m: [0, 85]", "piece_m"},
		{"name: easy", "name: ''", "name"},
	} {
		if !strings.Contains(whole, c.from) {
			t.Fatalf("difficulty.yaml has no %q", c.from)
		}
		_, err := readPresets([]byte(strings.Replace(whole, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error %v, want one about %s", c.to, err, c.want)
		}
	}
}

func FuzzReadPresets(f *testing.F) {
	f.Add(difficulty)
	f.Add([]byte("version: 1\nsets:\n  - name: x\n    about: y\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		presets, err := readPresets(data)
		if err != nil {
			return
		}
		for _, s := range presets.Sets {
			if err := s.Params.Validate(); err != nil {
				t.Errorf("%s was taken in spite of: %v", s.Name, err)
			}
		}
	})
}
