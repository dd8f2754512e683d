package synth

import (
	"bytes"
	_ "embed"
	"fmt"
	"reflect"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Params are the knobs of a town. Every share is between 0 and 1, every
// quantity carries its unit in its name, and every pair is a range. The named
// sets in difficulty.yaml are frozen: what they mean is written there, once.
type Params struct {
	Network Network `yaml:"network"`
	Map     Map     `yaml:"map"`
	Crews   Crews   `yaml:"crews"`
	Signal  Signal  `yaml:"signal"`
}

// Network is what lies in the ground.
type Network struct {
	Avenues          int        `yaml:"avenues"`
	CrossStreets     int        `yaml:"cross_streets"`
	BlockM           float64    `yaml:"block_m"`
	CurvedStreets    float64    `yaml:"curved_streets"`    // share of blocks with a bend in the street
	LinesPerStreet   [2]int     `yaml:"lines_per_street"`  // parallel lines in one street
	ApartM           [2]float64 `yaml:"apart_m"`           // between two of them
	SameUtility      float64    `yaml:"same_utility"`      // share of streets with two lines of one utility
	PieceM           [2]float64 `yaml:"piece_m"`           // between two fittings
	DeadEnds         float64    `yaml:"dead_ends"`         // share of blocks where a line is interrupted
	ServiceM         [2]float64 `yaml:"service_m"`         // length of a service
	ServiceEveryM    float64    `yaml:"service_every_m"`   // of main, on average
	ServiceUtilities []string   `yaml:"service_utilities"` // whose services are on the map
	Rings            int        `yaml:"rings"`             // closed rings at the ends of streets
	PlasticWithWire  float64    `yaml:"plastic_with_wire"` // share of mains whose signal is on a wire
	PlasticWithout   float64    `yaml:"plastic_without"`   // share that carries no signal at all
	CoverVariationM  float64    `yaml:"cover_variation_m"` // along one line
	DodgeM           float64    `yaml:"dodge_m"`           // a line moves aside for an obstacle, at most
}

// Map is how the records differ from it.
type Map struct {
	SheetRecords     [2]int     `yaml:"sheet_records"`
	SheetSigmaM      float64    `yaml:"sheet_sigma_m"`  // shift of an ordinary sheet, per axis
	ShiftedSheets    float64    `yaml:"shifted_sheets"` // share of sheets with a large shift
	ShiftM           [2]float64 `yaml:"shift_m"`        // of those
	TurnedSheets     float64    `yaml:"turned_sheets"`  // share of sheets with a rotation
	TurnDeg          float64    `yaml:"turn_deg"`       // at most
	ScaledSheets     float64    `yaml:"scaled_sheets"`  // share of sheets with a scale error
	ScaleShare       float64    `yaml:"scale_share"`    // at most
	FrameBlunders    float64    `yaml:"frame_blunders"` // expected sheets with a recognisable frame or unit blunder
	VertexSigmaM     float64    `yaml:"vertex_sigma_m"` // digitising, per axis
	OwnSigmaM        float64    `yaml:"own_sigma_m"`    // a record's own shift, per axis
	OwnShifted       float64    `yaml:"own_shifted"`    // share of records with a larger one
	OwnShiftM        [2]float64 `yaml:"own_shift_m"`    // of those
	Bumps            float64    `yaml:"bumps"`          // share of records with a bump
	BumpM            [2]float64 `yaml:"bump_m"`         // its height
	BumpLengthM      [2]float64 `yaml:"bump_length_m"`
	Kinks            float64    `yaml:"kinks"` // share of records with a kinked vertex
	KinkM            [2]float64 `yaml:"kink_m"`
	WrongSide        float64    `yaml:"wrong_side"`         // share of mains drawn on the wrong side of the street
	Copied           float64    `yaml:"copied"`             // share of records with a stretch copied from a neighbour
	SnapAcross       float64    `yaml:"snap_across"`        // share of ends snapped to another sheet's
	BlankSheets      float64    `yaml:"blank_sheets"`       // share of records whose sheet is blank or a placeholder
	Missing          float64    `yaml:"missing"`            // share of lines that are on no map
	Abandoned        float64    `yaml:"abandoned"`          // records without a line, per line
	AbandonedSwept   float64    `yaml:"abandoned_swept"`    // chance of one more in a swept area
	Duplicated       float64    `yaml:"duplicated"`         // share of lines that are drawn twice
	CoverSigmaM      float64    `yaml:"cover_sigma_m"`      // of an ordinary recorded cover
	CoverBlank       float64    `yaml:"cover_blank"`        // share of records without a cover
	CoverWrong       float64    `yaml:"cover_wrong"`        // share of records with a wrong cover
	CoverWrongM      [2]float64 `yaml:"cover_wrong_m"`      // of those
	CoverUnitSheets  float64    `yaml:"cover_unit_sheets"`  // share of sheets with covers in another unit
	CoverPointSheets float64    `yaml:"cover_point_sheets"` // share of sheets with depths to the invert
}

// Crews are the people who took the readings.
type Crews struct {
	Crews          int        `yaml:"crews"`
	Coverage       float64    `yaml:"coverage"` // share of the detectable length that is walked
	TraceM         [2]float64 `yaml:"trace_m"`
	SpacingM       [2]float64 `yaml:"spacing_m"`       // between readings, log-uniform per trace
	DenseShare     float64    `yaml:"dense_share"`     // share of traces with readings closer than 2 m
	Repeated       float64    `yaml:"repeated"`        // share of traces walked again by another crew
	DayReadings    int        `yaml:"day_readings"`    // readings in a session
	SessionSigmaM  float64    `yaml:"session_sigma_m"` // per axis
	WrongBases     int        `yaml:"wrong_bases"`     // sessions with a wrong base
	WrongBaseM     [2]float64 `yaml:"wrong_base_m"`
	NetworkErrors  float64    `yaml:"network_errors"` // share of towns where all positions share a frame error
	NetworkErrorM  [2]float64 `yaml:"network_error_m"`
	OwnBases       float64    `yaml:"own_bases"`       // share of crews with a base of their own instead
	UnknownPassive float64    `yaml:"unknown_passive"` // share of passive traces whose utility nobody wrote down
	TraceBiasM     float64    `yaml:"trace_bias_m"`    // to the right of walking
	NoiseM         float64    `yaml:"noise_m"`         // white positioning noise, per axis
	WanderM        float64    `yaml:"wander_m"`        // slow positioning noise, per axis
	WanderS        [2]float64 `yaml:"wander_s"`        // its periods
	FloatHours     float64    `yaml:"float_hours"`     // float episodes per hour
	FloatS         [2]float64 `yaml:"float_s"`         // how long
	FloatM         [2]float64 `yaml:"float_m"`         // how far off
	FloatHonest    float64    `yaml:"float_honest"`    // share with an honest accuracy
	Control        float64    `yaml:"control"`         // share of towns with control checks
	TestHoles      float64    `yaml:"test_holes"`      // share of towns with test holes
	Marks          float64    `yaml:"marks"`           // share of traces with paint marks
	SweptAreas     int        `yaml:"swept_areas"`
	PassiveTraces  float64    `yaml:"passive_traces"`   // share of traces without an own signal
	SondeTraces    float64    `yaml:"sonde_traces"`     // share of traces with a sonde
	SondeWrongMode float64    `yaml:"sonde_wrong_mode"` // share of those read as if from a line
	Unlabelled     float64    `yaml:"unlabelled"`       // share of traces without a utility
	Mislabelled    float64    `yaml:"mislabelled"`      // share of traces with a wrong one
	Doubted        float64    `yaml:"doubted"`          // share of distorted readings that the crew doubts
}

// Signal is what goes on between transmitter and receiver.
type Signal struct {
	CoilsM          float64    `yaml:"coils_m"`         // between the two coils
	CoilNoise       float64    `yaml:"coil_noise"`      // of a reading's field, relative
	CoilFloorT      float64    `yaml:"coil_floor_t"`    // tesla
	CoilMatch       float64    `yaml:"coil_match"`      // of a receiver's two coils, relative
	BracketNoise    float64    `yaml:"bracket_noise"`   // of the eye that judges a peak, relative
	HandM           float64    `yaml:"hand_m"`          // the pole set down beside the peak, per axis
	Coupling        [3]float64 `yaml:"coupling"`        // neighbour's current over the target's: direct, clamp, induction (medians)
	CouplingSpread  float64    `yaml:"coupling_spread"` // of their logarithm
	BleedPerKm      float64    `yaml:"bleed_per_km"`    // stretches where a neighbour carries more than the target
	BleedM          [2]float64 `yaml:"bleed_m"`
	BleedRatio      [2]float64 `yaml:"bleed_ratio"`
	SweepM          [2]float64 `yaml:"sweep_m"`          // to each side of the last mark
	Attention       [2]float64 `yaml:"attention"`        // how much louder a second peak must be to draw the crew
	SeparationCrews float64    `yaml:"separation_crews"` // share of crews that write down peak and null apart
	NoSignal        float64    `yaml:"no_signal"`        // share of traces with a stretch without a signal
	NoSignalM       [2]float64 `yaml:"no_signal_m"`
}

//go:embed difficulty.yaml
var difficulty []byte

// Presets are the named sets of a difficulty file.
type presets struct {
	Version int      `yaml:"version"`
	Sets    []preset `yaml:"sets"`
}

type preset struct {
	Name   string `yaml:"name"`
	About  string `yaml:"about"`
	Params Params `yaml:",inline"`
}

// readPresets decodes a difficulty file strictly: an unknown key, a set without
// a name or a parameter that makes no sense is an error.
func readPresets(data []byte) (presets, error) {
	var f presets
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	if err := d.Decode(&f); err != nil {
		return f, fmt.Errorf("difficulty.yaml: %w", err)
	}
	if f.Version < 1 {
		return f, fmt.Errorf("difficulty.yaml: version: %d, want 1 or more", f.Version)
	}
	for _, s := range f.Sets {
		if s.Name == "" || s.About == "" {
			return f, fmt.Errorf("difficulty.yaml: a set needs a name and what it is about")
		}
		if err := s.Params.Validate(); err != nil {
			return f, fmt.Errorf("difficulty.yaml: %s: %w", s.Name, err)
		}
	}
	return f, nil
}

// Preset is a named set of the difficulty file: easy, hard or cruel. An unknown
// name is an error that lists them.
func Preset(name string) (Params, error) {
	f, err := readPresets(difficulty)
	if err != nil {
		return Params{}, err
	}
	var names []string
	for _, s := range f.Sets {
		if s.Name == name {
			return s.Params, nil
		}
		names = append(names, s.Name)
	}
	return Params{}, fmt.Errorf("difficulty %q is not known; there are %s", name, strings.Join(names, ", "))
}

// Presets are the names of the difficulty file's sets, easiest first.
func Presets() []string {
	f, err := readPresets(difficulty)
	if err != nil {
		return nil
	}
	names := make([]string, len(f.Sets))
	for i, s := range f.Sets {
		names[i] = s.Name
	}
	return names
}

// Version is the version of the difficulty file. A score says which one it was
// made with.
func Version() int {
	f, _ := readPresets(difficulty)
	return f.Version
}

// Validate says what of a parameter set makes no sense.
func (p Params) Validate() error {
	if err := ranges(reflect.ValueOf(p)); err != nil {
		return err
	}
	n := p.Network
	switch {
	case n.Avenues < 1 || n.CrossStreets < 1:
		return fmt.Errorf("network: avenues and cross_streets: want 1 or more")
	case n.LinesPerStreet[0] < 1 || n.LinesPerStreet[1] > len(habits) || n.LinesPerStreet[0] > n.LinesPerStreet[1]:
		return fmt.Errorf("network: lines_per_street: %v, want a range within 1 to %d", n.LinesPerStreet, len(habits))
	case p.Map.SheetRecords[0] < 1 || p.Map.SheetRecords[0] > p.Map.SheetRecords[1]:
		return fmt.Errorf("map: sheet_records: %v, want a range from 1 up", p.Map.SheetRecords)
	case n.BlockM <= 0 || n.ServiceEveryM <= 0:
		return fmt.Errorf("network: block_m and service_every_m: want more than 0")
	case n.PieceM[0] <= 0 || p.Map.BumpLengthM[0] <= 0 || p.Crews.TraceM[0] <= 0 || p.Crews.SpacingM[0] <= 0 || p.Crews.WanderS[0] <= 0 || p.Signal.BleedM[0] <= 0:
		return fmt.Errorf("piece_m, bump_length_m, trace_m, spacing_m, wander_s and bleed_m: want ranges above 0")
	case p.Signal.CoilsM <= 0:
		return fmt.Errorf("signal: coils_m: want more than 0")
	case p.Crews.Crews < 1 || p.Crews.DayReadings < 1:
		return fmt.Errorf("crews: crews and day_readings: want 1 or more")
	}
	return nil
}

// ranges says which pair is no range from 0 up.
func ranges(v reflect.Value) error {
	for i := range v.NumField() {
		f := v.Field(i)
		name := v.Type().Field(i).Tag.Get("yaml")
		switch pair := f.Interface().(type) {
		case [2]float64:
			if !(pair[0] >= 0 && pair[0] <= pair[1]) {
				return fmt.Errorf("%s: %v, want a range from 0 up", name, pair)
			}
		case float64:
			if !(pair >= 0) {
				return fmt.Errorf("%s: %v, want 0 or more", name, pair)
			}
		case Network, Map, Crews, Signal:
			if err := ranges(f); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
	}
	return nil
}
