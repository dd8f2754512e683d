package read

import (
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// The words that the columns use, in lower case and without punctuation
// (see plainWord). A column's own Values are applied first.

// noFix is what words mean that say that there was no position: the row's is
// nothing measured.
const noFix survey.Fix = 255

// fixWords are the kinds of satellite position. The numbers are the quality
// indicator of NMEA 0183's GGA sentence.
var fixWords = map[string]survey.Fix{
	"0": noFix, "8": noFix, // invalid, simulated
	"1": survey.FixAutonomous, "2": survey.FixDGPS, "3": survey.FixAutonomous,
	"4": survey.FixFixed, "5": survey.FixFloat,

	"fixed": survey.FixFixed, "fix": survey.FixFixed, "rtk": survey.FixFixed, "rtk fixed": survey.FixFixed,
	"rtk fix": survey.FixFixed, "fixed rtk": survey.FixFixed, "integer": survey.FixFixed, "rtk int": survey.FixFixed,
	"fixed integer": survey.FixFixed, "narrow fixed": survey.FixFixed, "ppk fixed": survey.FixFixed,
	"float": survey.FixFloat, "rtk float": survey.FixFloat, "float rtk": survey.FixFloat, "ppk float": survey.FixFloat,
	"dgps": survey.FixDGPS, "dgnss": survey.FixDGPS, "differential": survey.FixDGPS, "diff": survey.FixDGPS,
	"sbas": survey.FixDGPS, "waas": survey.FixDGPS, "egnos": survey.FixDGPS, "code differential": survey.FixDGPS,
	"autonomous": survey.FixAutonomous, "single": survey.FixAutonomous, "standalone": survey.FixAutonomous,
	"gps": survey.FixAutonomous, "gnss": survey.FixAutonomous, "sps": survey.FixAutonomous, "pps": survey.FixAutonomous,
	"3d": survey.FixAutonomous, "2d": survey.FixAutonomous, "uncorrected": survey.FixAutonomous,
	"none": noFix, "no fix": noFix, "nofix": noFix, "invalid": noFix, "no position": noFix,
	"simulated": noFix, "simulation": noFix,
	"total station": survey.FixTotalStation, "tps": survey.FixTotalStation, "ts": survey.FixTotalStation,
}

var modeWords = map[string]survey.Mode{
	"active": survey.ModeActive, "line": survey.ModeActive, "act": survey.ModeActive,
	"passive": survey.ModePassive, "power": survey.ModePassive, "radio": survey.ModePassive, "pas": survey.ModePassive,
	"sonde": survey.ModeSonde, "beacon": survey.ModeSonde, "transmitter in pipe": survey.ModeSonde,
}

var hookupWords = map[string]survey.Hookup{
	"direct": survey.HookupDirect, "direct connection": survey.HookupDirect, "direct connect": survey.HookupDirect,
	"connected": survey.HookupDirect, "conductive": survey.HookupDirect,
	"clamp": survey.HookupClamp, "clamped": survey.HookupClamp, "coupler": survey.HookupClamp, "inductive clamp": survey.HookupClamp,
	"induction": survey.HookupInduction, "inductive": survey.HookupInduction, "induced": survey.HookupInduction,
}

var doubtWords = map[string]bool{
	"y": true, "yes": true, "1": true, "true": true, "t": true, "x": true,
	"n": false, "no": false, "0": false, "false": false, "f": false,
}

var conductorWords = map[string]survey.Conductor{
	"pipe": survey.ConductorPipe, "wire": survey.ConductorWire, "tracer wire": survey.ConductorWire,
	"none": survey.ConductorNone,
}

// plainWord is a word as the tables above have it: lower case, with one blank
// for dashes, underscores and runs of blanks.
func plainWord(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return r == ' ' || r == '-' || r == '_' || r == '/' || r == '\t'
	}), " ")
}
