package scorer

// Figure is one row of the table.
type Figure int

// The figures, in the table's order. One that comes for bands of spacing or for
// tenths of a probability stands for the first; the others follow it.
const (
	RightAmongUsed Figure = iota
	GoodUsed
	JumpsWrong
	UnmappedApart
	PassiveWrong
	LabelWrong
	SondeUsed
	RightAt99 // and two more, by spacing
	_
	_
	PromiseBySpacing
	_
	_
	BrierBySpacing
	_
	_

	DistortedDistrusted
	GoodDistrusted
	FloatDistrusted

	OutsideFound
	OutsidePlace
	OutsideLength
	SaidLength
	OutsideOtherFrame
	OutsideMissed
	WithinFlagged
	Undecided
	NoLineJudged
	UnsurveyedMisjudged

	AttributedRight
	AttributedInseparable
	AttributedWrong
	CommonFrameToMap

	CoverFound
	CoverFlagged
	CoverUndecided
	CoverInside
	CoverError
	CoverUnitNamed
	CoverPointNamed
	CoverOthersNamed

	SheetsNamed
	SheetsAloneNamed
	SheetsOthersNamed
	SheetsOtherFrame
	SheetsInside
	SheetsSettled
	SheetsError
	SessionsCheckedInside
	SessionsUncheckedInside
	SessionsGoodNamed
	WrongBaseError
	WrongBaseNamed
	SourcesInside

	ProfileThere
	ProfileInside
	ProfileAtReadings
	ProfileError

	LinesMissing
	Before
	After
	OutsideBefore
	OutsideAfter
	OtherFrameBefore
	OtherFrameAfter
	CommonFrameBefore
	CommonFrameAfter
	BackToTruth
	VerticesInside
	FollowersInside

	JunctionsOpened
	SelfCrossings
	SideChanges
	MovedBeyond
	FittingsLeft

	UnmappedFound
	UnmappedFalse
	NotDetectedFound
	NotDetectedFalse

	Resolved
	ResolvedAsLines
	ResolvedByAge
	ResolvedAtRandom
	ResolvedBySheets
	ResolvedByTruth
	ResolvedWeight
	ResolvedWeightByAge
	ResolvedWeightAtRandom
	ResurveyBrier
	ResurveyBrierCommon
	PromiseByTenth // and nine more

	numFigures = PromiseByTenth + 10
)

// String is a figure's group and name.
func (f Figure) String() string { return figures[f].group + ": " + figures[f].name }

// bands of the spacing of a trace's readings: 0.5 to 1, 1 to 5 and 5 to 30 m.
const bands = 3

// kind is what the cases of a figure are.
type kind int

const (
	share   kind = iota // of cases, in %
	promise             // a share beside the mean probability that was promised for it
	means               // values: mean and 95th percentile
	squares             // values: root of the mean square and 95th percentile
	counts              // values: mean
)

// figure describes a row of the table.
type figure struct {
	group, name string
	kind        kind
	aim         string // what the project wants of it; "" nothing in particular
}

var figures = describe()

func describe() [numFigures]figure {
	f := [numFigures]figure{
		RightAmongUsed: {"matching", "right record, of readings used", share, "99.7"},
		GoodUsed:       {"matching", "good readings used for their record", share, "97"},
		JumpsWrong:     {"matching", "jumped readings used for a wrong record", share, "< 5"},
		UnmappedApart:  {"matching", "readings of unmapped lines kept apart", share, "97"},
		PassiveWrong:   {"matching", "passive readings used for a wrong record", share, ""},
		LabelWrong:     {"matching", "mislabelled readings used for a wrong record", share, ""},
		SondeUsed:      {"matching", "sonde readings used as a line's", share, "0"},

		DistortedDistrusted: {"trust", "distorted readings distrusted", share, "90"},
		GoodDistrusted:      {"trust", "good readings distrusted", share, "< 2"},
		FloatDistrusted:     {"trust", "float positions claiming to be fixed distrusted", share, ""},

		OutsideFound:        {"verdict", "truly outside found", share, "98.5"},
		OutsidePlace:        {"verdict", "truly outside found, at the right place", share, ""},
		OutsideLength:       {"verdict", "truly outside length said outside", share, ""},
		SaidLength:          {"verdict", "length said outside that is", share, ""},
		OutsideOtherFrame:   {"verdict", "truly outside found, on sheets in another frame", share, ""},
		OutsideMissed:       {"verdict", "truly outside said within", share, "< 0.7"},
		WithinFlagged:       {"verdict", "truly within said outside", share, "< 0.5"},
		Undecided:           {"verdict", "undecided or called unsurveyed, of both", share, "< 3"},
		NoLineJudged:        {"verdict", "records without a line said within or outside", share, ""},
		UnsurveyedMisjudged: {"verdict", "records not surveyed, misjudged", share, ""},

		AttributedRight:       {"attribution", "differences put down to their cause", share, "95"},
		AttributedInseparable: {"attribution", "called inseparable though separable", share, "< 5"},
		AttributedWrong:       {"attribution", "put down to something else", share, ""},
		CommonFrameToMap:      {"attribution", "common frame error put down to the map", share, "0"},

		CoverFound:     {"depth", "wrong covers found", share, "98"},
		CoverFlagged:   {"depth", "good covers flagged", share, "< 1"},
		CoverUndecided: {"depth", "undecided or called unsurveyed, of both", share, ""},
		CoverInside:    {"depth", "true differences inside 1.96 u", share, "93-97"},
		CoverError:     {"depth", "error of the difference, rms / p95, m", squares, ""},

		CoverUnitNamed:   {"depth", "sheets of covers in another unit named", share, ""},
		CoverPointNamed:  {"depth", "sheets of depths to another point named", share, ""},
		CoverOthersNamed: {"depth", "other sheets called either", share, ""},

		SheetsNamed:             {"effects", "shifted sheets named", share, "97"},
		SheetsAloneNamed:        {"effects", "the same where one record shows it", share, ""},
		SheetsOthersNamed:       {"effects", "other sheets named", share, "< 2"},
		SheetsOtherFrame:        {"effects", "sheets in another frame named and measured", share, "95"},
		SheetsInside:            {"effects", "sheets' components inside 1.96 u", share, "93-97"},
		SheetsSettled:           {"effects", "sheets' components with u under 0.15 m", share, ""},
		SheetsError:             {"effects", "error of those, rms / p95, m", squares, "0.05"},
		SessionsCheckedInside:   {"effects", "sessions with checks inside 1.96 u", share, "93-97"},
		SessionsUncheckedInside: {"effects", "sessions without checks inside 1.96 u", share, "93-97"},
		SessionsGoodNamed:       {"effects", "sessions with nothing wrong named", share, ""},
		WrongBaseError:          {"effects", "wrong base with checks, error, rms / p95, m", squares, "0.03"},
		WrongBaseNamed:          {"effects", "wrong base without checks found", share, "90"},
		SourcesInside:           {"effects", "sources of positions inside 1.96 u", share, ""},

		ProfileThere:      {"profile", "surveyed length that has a profile", share, ""},
		ProfileInside:     {"profile", "true offsets inside 1.96 u, all along", share, "93-97"},
		ProfileAtReadings: {"profile", "true offsets inside 1.96 u, at used readings", share, "93-97"},
		ProfileError:      {"profile", "error of the offset, rms / p95, m", squares, "0.04"},

		LinesMissing:      {"geometry", "records missing from the updated map", share, "0"},
		Before:            {"geometry", "surveyed parts before, mean / p95, m", means, ""},
		After:             {"geometry", "surveyed parts after, mean / p95, m", means, "0.03/0.09"},
		OutsideBefore:     {"geometry", "truly outside before, mean / p95, m", means, ""},
		OutsideAfter:      {"geometry", "truly outside after, mean / p95, m", means, "0.04/0.12"},
		OtherFrameBefore:  {"geometry", "in another frame before, mean / p95, m", means, ""},
		OtherFrameAfter:   {"geometry", "in another frame after, mean / p95, m", means, ""},
		CommonFrameBefore: {"geometry", "common frame error before, mean / p95, m", means, ""},
		CommonFrameAfter:  {"geometry", "common frame error after, mean / p95, m", means, ""},
		BackToTruth:       {"geometry", "from the new line to the truth, mean / p95, m", means, ""},

		VerticesInside:  {"geometry", "vertices moved by readings, inside 1.96 u", share, "92-97"},
		FollowersInside: {"geometry", "vertices that fade out or follow, the same", share, ""},

		JunctionsOpened: {"topology", "junctions opened", share, "0"},
		SelfCrossings:   {"topology", "records that now cross themselves", share, "0"},
		SideChanges:     {"topology", "parallel lines that changed to the wrong side", share, "0"},
		MovedBeyond:     {"topology", "records moved beyond the fade-out", share, "0"},
		FittingsLeft:    {"topology", "fittings left off their lines", share, "0"},

		UnmappedFound:    {"unmapped", "unmapped lines found", share, "95"},
		UnmappedFalse:    {"unmapped", "false ones, a town", counts, "< 1"},
		NotDetectedFound: {"unmapped", "records not detected, found", share, "95"},
		NotDetectedFalse: {"unmapped", "false ones, a town", counts, "< 1"},

		Resolved:               {"re-survey", "wrong length resolved for a fifth of the cost", share, ""},
		ResolvedAsLines:        {"re-survey", "the same, its packages left aside", share, ""},
		ResolvedByAge:          {"re-survey", "the same in order of age", share, "1/2"},
		ResolvedAtRandom:       {"re-survey", "the same at random", share, "1/3"},
		ResolvedBySheets:       {"re-survey", "the same by one who knows all sheets' shifts", share, ""},
		ResolvedByTruth:        {"re-survey", "the same by one who knows where all lines lie", share, ""},
		ResolvedWeight:         {"re-survey", "wrong length resolved, times its consequence", share, ""},
		ResolvedWeightByAge:    {"re-survey", "the same in order of age", share, ""},
		ResolvedWeightAtRandom: {"re-survey", "the same at random", share, ""},
		ResurveyBrier:          {"re-survey", "Brier score of the probability outside, mean", counts, ""},
		ResurveyBrierCommon:    {"re-survey", "the same under a common frame error", counts, ""},
	}
	for b, spacing := range [bands]string{"0.5-1", "1-5", "5-30"} {
		band := Figure(b)
		f[RightAt99+band] = figure{"matching", "right where p >= 0.99, " + spacing + " m apart", share, "99"}
		f[PromiseBySpacing+band] = figure{"matching", "right, of all with a p, " + spacing + " m apart", promise, ""}
		f[BrierBySpacing+band] = figure{"matching", "Brier score of all p, " + spacing + " m apart, mean", counts, "< 0.01"}
	}
	for k := range Figure(10) {
		f[PromiseByTenth+k] = figure{"re-survey", "outside where " + tenths[k] + " % was promised", promise, "within 3"}
	}
	return f
}

var tenths = [10]string{"0-10", "10-20", "20-30", "30-40", "40-50", "50-60", "60-70", "70-80", "80-90", "90-100"}
