package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/adjust"
	"github.com/asfound/asfound/pipeline/correct"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/read"
)

// setting is one scalar key of the config and the options that it sets. The
// file, the environment or default.yaml gives its text.
type setting struct {
	key     string
	set     func(text string) error // error: a wrong
	check   func() error            // of the value set, whoever set it
	targets []any                   // pointers, for the test that no option is left without a key
}

// numeric are the types of options that a number can set.
type numeric interface{ ~int | ~int64 | ~float64 }

func number[T numeric](key string, k kind, within span, targets ...*T) setting {
	s := setting{key: key}
	for _, t := range targets {
		s.targets = append(s.targets, t)
	}
	s.set = func(text string) error {
		v, err := k.parse(text)
		if err != nil {
			return err
		}
		if float64(T(v)) != v {
			return wrong{fmt.Sprintf("%q is not a whole number", text), "write it without a fraction"}
		}
		if err := within.check(k, text, v); err != nil {
			return err
		}
		for _, t := range targets {
			*t = T(v)
		}
		return nil
	}
	s.check = func() error {
		v := float64(*targets[0])
		return within.check(k, strconv.FormatFloat(v, 'g', -1, 64), v)
	}
	return s
}

func text(key string, target *string) setting {
	return setting{
		key:     key,
		set:     func(text string) error { *target = text; return nil },
		check:   func() error { return nil },
		targets: []any{target},
	}
}

func choice[T ~string](key string, target *T, words ...string) setting {
	check := func(text string) error {
		if !slices.Contains(words, text) {
			return wrong{fmt.Sprintf("%q is not known here", text), didYouMean(text, words)}
		}
		return nil
	}
	return setting{
		key:     key,
		set:     func(text string) error { *target = T(text); return check(text) },
		check:   func() error { return check(string(*target)) },
		targets: []any{target},
	}
}

// truth is a key that is true or false.
func truth(key string, target *bool) setting {
	return setting{
		key: key,
		set: func(text string) error {
			*target = text == "true"
			if text != "true" && text != "false" {
				return wrong{fmt.Sprintf("%q is neither true nor false", text), "write true or false"}
			}
			return nil
		},
		check:   func() error { return nil },
		targets: []any{target},
	}
}

// settings ties every scalar key to its options. Each has its default in
// default.yaml, under the same key.
func (c *Config) settings() []setting {
	j := &c.job
	m, a, t, r := &j.Match, &j.Adjust, &j.Judge, &j.Rank
	return []setting{
		text("job", &j.Name),
		text("output", &j.Publish.Output),
		text("ledger", &j.Ledger),
		text("plane", &j.Read.Plane),
		text("banner", &j.Banner),

		number("read.max_reject_share", share, zeroToOne, &j.Read.MaxRejectShare),
		choice("read.blunders", &j.Read.Blunders, string(read.BlundersWarn), string(read.BlundersStop)),
		number("read.gap_time", duration, positive, &j.Read.Gap.Seconds),
		number("read.gap_distance", length, positive, &j.Read.Gap.Metres),

		number("match.search_radius", length, positive, &m.SearchRadiusM, &t.Positions.NearM),
		number("match.min_probability", share, inside01, &m.MinProbability),
		number("match.sheet", length, positive, &m.SheetM, &r.SheetM),
		number("match.far_sheet", length, positive, &m.FarSheetM, &r.FarSheetM),
		number("match.far_sheet_share", share, inside01, &m.FarShare, &r.FarShare),
		number("match.own", length, positive, &m.OwnM),
		number("match.far_own", length, positive, &m.FarOwnM),
		number("match.far_own_share", share, inside01, &m.FarOwnShare),
		number("match.local", length, positive, &m.LocalM),
		number("match.session", length, positive, &m.SessionM),
		number("match.wrong_base", length, positive, &m.WrongBaseM),
		number("match.wrong_base_share", share, inside01, &m.WrongBaseShare),
		number("match.snap", length, positive, &m.SnapM),
		number("match.gap", length, positive, &m.GapM),
		number("match.gap_share", share, inside01, &m.GapShare),
		number("match.longer_share", share, inside01, &m.LongerShare),
		number("match.missing_share", share, inside01, &m.MissingShare),
		number("match.unmapped_share", share, inside01, &m.UnmappedShare),
		number("match.beside_share", share, inside01, &m.BesideShare),
		number("match.straight_share", share, inside01, &m.StraightShare),
		number("match.foreign_share", share, inside01, &m.ForeignShare),
		number("match.no_signal_share", share, inside01, &m.NoSignalShare),
		number("match.jump_rate", rate, positive, &m.JumpPerM),
		number("match.leave_rate", rate, positive, &m.LeavePerM),
		number("match.return_rate", rate, positive, &m.ReturnPerM),
		number("match.apart_rate", rate, positive, &m.ApartPerM),
		number("match.bend_rate", rate, positive, &m.BendPerM),
		number("match.foreign_jump_share", share, inside01, &m.ForeignJump),
		number("match.unmapped_jump_share", share, inside01, &m.UnmappedJump),
		number("match.branch_share", share, inside01, &m.Branch),
		number("match.route_share", share, positive, &m.RouteShare),
		number("match.angle", angle, positive, &m.AngleRad),
		number("match.crossing_share", share, inside01, &m.CrossingShare),
		number("match.mark", length, positive, &m.MarkM, &t.Positions.MarkM),
		number("match.mark_gap", length, positive, &m.MarkGapM, &t.Positions.RowM),
		number("match.step_on_line", share, inside01, &m.StepOnLine),
		number("match.step_at_tee", share, inside01, &m.StepAtTee),

		// Match and adjust share the error budget.
		choice("adjust.sizes", &a.Sizes, string(adjust.SizesEstimated), string(adjust.SizesGiven)),
		number("adjust.local", length, positive, &a.LocalM, &r.LocalM),
		number("adjust.local_length", length, positive, &a.LambdaM, &m.LambdaM),
		number("adjust.sheet", length, positive, &a.SheetM),
		number("adjust.local_nu", plain, notNegative, &a.LocalNu),
		number("adjust.sheet_nu", plain, aboveTwo, &a.SheetNu),
		number("adjust.map", length, positive, &a.MapM),
		number("adjust.own", length, positive, &a.OwnM, &r.OwnM),
		number("adjust.own_nu", plain, aboveTwo, &a.OwnNu, &r.OwnNu),
		number("adjust.join", length, positive, &a.JoinM),
		number("adjust.snap", length, notNegative, &a.SnapM, &j.Correct.SnapM),
		number("adjust.session", length, positive, &a.SessionM, &t.Positions.SessionM),
		number("adjust.positions", length, positive, &a.PositionsM, &t.Positions.SourceM),
		number("adjust.bias", length, positive, &a.BiasM),
		number("adjust.block", length, positive, &a.BlockM),
		number("adjust.accuracy_factor", plain, oneOrMore, &a.AccuracyFactor, &m.AccuracyFactor, &t.Positions.AccuracyFactor),
		number("adjust.accuracy_unstated", length, positive, &a.DefaultSigmaM, &m.DefaultSigmaM, &t.Positions.DefaultSigmaM),
		number("adjust.pole", length, notNegative, &a.PoleM, &m.PoleM, &t.Positions.PoleM),
		number("adjust.locating_share", share, zeroToOne, &a.LocateShare, &m.LocateShare),
		number("adjust.locating_least", length, positive, &a.LocateMinM, &m.LocateMinM),
		number("adjust.depth_unstated", length, positive, &a.DefaultDepthM, &m.DefaultDepthM),
		number("adjust.passive_factor", plain, oneOrMore, &a.PassiveFactor),
		number("adjust.wander_share", share, zeroToOne, &a.WanderShare),
		number("adjust.wander_time", duration, positive, &a.WanderS, &m.CorrelationS),
		number("adjust.nu", plain, aboveTwo, &a.Nu),
		number("adjust.depth_coils", length, positive, &a.DepthCoilsM, &m.DepthCoilsM, &t.CoilsM),
		number("adjust.depth_noise", share, zeroToOne, &a.DepthNoise),
		number("adjust.depth_least", length, positive, &a.DepthMinM),
		number("adjust.depth_gain", share, inside01, &a.DepthGain),
		number("adjust.depth_walk", share, inside01, &a.DepthWalk),
		number("adjust.cover_sheet", length, positive, &a.CoverSheetM),
		number("adjust.cover_local", length, positive, &a.CoverLocalM),
		number("adjust.cover_varies", length, positive, &a.CoverVariesM),
		number("adjust.cover_length", length, positive, &a.CoverLengthM),
		number("adjust.name_from", length, notNegative, &a.NameM, &t.NameM),
		number("adjust.draws", plain, positive, &a.Draws),
		number("adjust.seed", plain, anything, &a.Seed),

		number("tolerance.confidence", share, upperHalf, &t.Confidence),
		choice("tolerance.guard_band", &t.GuardBand, string(judge.GuardConfidence), string(judge.GuardExpanded), string(judge.GuardNone)),
		presetName("tolerance.preset", &c.preset),
		number("tolerance.min_stretch", length, positive, &t.MinStretchM),
		number("tolerance.max_gap", length, positive, &t.MaxGapM, &j.Correct.MaxGapM, &r.MaxGapM),
		number("tolerance.hold_out", share, zeroToOne, &t.HoldOut),
		number("tolerance.hold_out_most", plain, notNegative, &t.HoldOutMost),
		number("tolerance.false_discovery", share, inside01, &a.FalseDiscovery, &t.FalseDiscovery),
		choice("sessions.names", &j.Names, string(pipeline.NamesGiven), string(pipeline.NamesCodes)),
		number("sessions.congested", length, positive, &t.CongestedM),
		number("tolerance.default.horizontal", length, positive, &t.Default.HorizontalM),
		number("tolerance.default.depth", length, positive, &t.Default.DepthM),
		truth("tolerance.default.half_width", &t.Default.HalfWidth),

		choice("correct.when", &j.Correct.When, string(correct.WhenOutside), string(correct.WhenSurveyed)),
		choice("correct.apply", &c.apply, "proposed", "accepted"),
		truth("correct.shift", &j.Correct.Shift),
		number("correct.fade_out", length, positive, &j.Correct.FadeOutM),
		number("correct.drop", length, notNegative, &j.Correct.DropM),
		truth("correct.shapefiles", &j.Publish.Shapefiles),
		number("correct.beside", length, positive, &j.Correct.BesideM),
		number("correct.sides", share, upperHalf, &j.Correct.SideShare),
		number("correct.fitting", length, positive, &j.Correct.FittingM),

		number("resurvey.budget", plain, notNegative, &r.Budget),
		number("resurvey.mobilisation", plain, notNegative, &r.Mobilisation),
		number("resurvey.per_km", plain, notNegative, &r.PerKm),
		number("resurvey.package", length, positive, &r.PackageM),
		number("resurvey.area", length, positive, &r.AreaM),
		number("resurvey.settled", length, positive, &r.SettledM),
		number("resurvey.control", share, zeroToOne, &r.ControlShare),
		number("resurvey.seed", plain, anything, &r.Seed),
	}
}

// parent splits a key into the section that holds it and its name there.
func parent(key string) (section, name string) {
	i := strings.LastIndexByte(key, '.')
	return key[:max(i, 0)], key[i+1:]
}
