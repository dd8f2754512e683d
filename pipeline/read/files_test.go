package read

import (
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/asfound/asfound/pipeline/survey"
)

const header = "LINE,TIME,LAT,LON,ACC,FIX,DEPTH_IN,MA,HZ,MODE,HOOKUP,UTIL,CREW,RX,SEP,DOUBT,REMARK,TICKET,BASE\n"

// cases are jobs whose whole account is kept in testdata/cases/read.
var cases = map[string]input{
	"every-kind-of-row": {field: map[string]string{
		"field/a.csv": header +
			"L1,2026-06-12T14:00:00Z,40.0000,-80.9999,0.02,4,36,10.5,8192,active,direct,WTR,A,R1,0.05,,clear,T1,base 1\n" +
			"L1,2026-06-12T14:00:20Z,40.0000,-80.9998,0.02,RTK-Float,36,10,8192,Active,Clamp,WTR,A,R1,-0.1,y,,T1,base 1\n" +
			"L1,2026-06-12T14:00:10Z,40.0000,-80.99985,99,autonomous,-1,,,passive,,WTR,A,R1,,n,,T1,base 1\n" +
			"L1,2026-06-12T14:00:10Z,40.0000,-80.99985,99,autonomous,-1,,,passive,,WTR,A,R1,,n,,T1,base 1\n" + // duplicate
			"L1,2026-06-12T14:00:30Z,40.0000,-80.9997,0,no fix at all,30,1,512,sonde,,WTR,A,R1,,perhaps,,T1,base 1\n" +
			"\n" +
			"L2,2026-06-12T14:10:00Z,,-80.9999,0.02,4,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:01Z,40.0000,-80.9999,0.02,4,-3,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:02Z,40.0000,-80.9999,0.02,4,NaN,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:03Z,140.0000,-80.9999,0.02,4,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:04Z,40.0000,-80.9999,-0.02,4,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12 14:10:05,40.0000,-80.9999,0.02,4,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:06Z,0,0,0.02,4,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:07Z,40.0000,-80.9999,0.02,0,36,10.5,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:08Z,40.0000,-80.9999,0.02,4,36,ten,8192,active,direct,GAS,A,R1,,,,T1,base 1\n" +
			"L2,2026-06-12T14:10:09Z,40.0000,-80.9999,0.02\n" +
			"L2,2026-06-12T14:10:10Z,40.0000,-80.9999,0.02,4,36,10.5,8192,active,direct,SEW,A,R1,,,,T1,base 1\n",
	}, change: func(o *Options) { o.MaxRejectShare = 1 }},
	"traces-formed": {field: map[string]string{
		"field/walks.csv": "TIME,LAT,LON,UTIL,CREW,RX,TICKET\n" +
			"2026-06-12T14:00:00Z,40.0,-80.9999,WTR,A,R1,T1\n" +
			"2026-06-12T14:00:10Z,40.0,-80.9998,WTR,A,R1,T1\n" +
			"2026-06-12T14:10:10Z,40.0,-80.9997,WTR,A,R1,T1\n" + // later
			"2026-06-12T14:10:20Z,40.0,-80.9990,WTR,A,R1,T1\n" + // farther
			"2026-06-12T14:00:05Z,40.0,-80.9999,GAS,A,R1,T1\n" +
			"2026-06-12T14:00:05Z,40.0,-80.9999,WTR,B,R1,T1\n" +
			"2026-06-13T03:00:05Z,40.0,-80.9999,WTR,B,R1,T1\n" + // still the 12th by the sun
			"2026-06-13T13:00:05Z,40.0,-80.9999,WTR,B,R1,T1\n" +
			",40.0,-80.9991,WTR,B,R1,T1\n" +
			",40.0,-80.9992,WTR,B,R1,T1\n",
	}},
	"label-on-two-crews": {field: map[string]string{
		"field/walks.csv": "LINE,TIME,LAT,LON,CREW,RX,SESSION\n" +
			"7,2026-06-12T14:00:00Z,40.0,-80.9999,B,R1,am\n" +
			"7,2026-06-12T15:00:00Z,40.0,-80.9998,A,R1,am\n" +
			"7,,40.0,-80.9997,A,R1,am\n" +
			"7#2,2026-06-12T14:00:10Z,40.0,-80.9998,A,R1,am\n" +
			"7,2026-06-12T18:00:00Z,40.0,-80.9996,A,R1,pm\n",
	}},
	"same-file-twice": {field: map[string]string{
		"field/a.csv": "LINE,TIME,LAT,LON\n1,2026-06-12T14:00:00Z,40.0,-80.9999\n1,2026-06-12T14:00:10Z,40.0,-80.9998\n",
		"field/b.csv": "LINE,TIME,LAT,LON\n1,2026-06-12T14:00:00Z,40.0,-80.9999\n1,2026-06-12T14:00:10Z,40.0,-80.9998\n",
	}, change: func(o *Options) { o.Field = append(o.Field, o.Field[0]) }},
	"set-aside": {field: map[string]string{
		"field/bad-rows.csv":  "TIME,LAT,LON\n2026-06-12T14:00:00Z,40.0,-80.9999\nx,40.0,-80.9998\ny,40,-81\nz,40,-81\nw,40,-81\n",
		"field/few.csv":       "TIME,LAT,LON\n2026-06-12T14:00:00Z,40.0,-80.9999\nx,40.0,-80.9998\ny,40,-81\nz,40,-81\n",
		"field/no-column.csv": "TIME,LAT,LON,UTIL\n2026-06-12T14:00:00Z,40.0,-80.9999,WTR\n\n",
		"field/empty.csv":     "",
		"field/gone.csv":      "TIME,LAT,LON\n",
		"field/no-crs.csv":    "TIME,LAT,LON\n2026-06-12T14:00:00Z,40.0,-80.9999\n",
		"field/picture.png":   "\x89PNG",
	}, change: func(o *Options) {
		for i := range o.Field {
			switch s := &o.Field[i]; filepath.Base(s.Name) {
			case "no-column.csv":
				s.Utility.Name = "UTILITY"
				s.Utility.At = "asfound.yaml:12"
			case "gone.csv":
				os.Remove(s.Path)
			case "no-crs.csv":
				s.CRS = ""
			}
		}
	}},
	"decimal-commas": {field: map[string]string{
		"field/comma.csv": "TIME;LAT;LON;DEPTH_IN;REMARK\r\n" +
			"12.06.2026 16:00:00;40,0001;-80,9999;36,5;\"a;b\r\nc\"\r\n" +
			"12.06.2026 16:00:10;40,0002;-80,9999;1,234;\r\n",
	}, change: func(o *Options) {
		o.Field[0].Time.Zone, o.Field[0].Time.Format = "Europe/Berlin", "02.01.2006 15:04:05"
	}},
	"projected-feet": {
		field: map[string]string{"field/feet.csv": "E,N,DEPTH_IN\n1640416.667,14526443.500,36\n1640420,14526443.5,36\n"},
		change: func(o *Options) {
			s := &o.Field[0]
			s.CRS = "EPSG:26917"
			s.Easting.Factor, s.Northing.Factor = 1200.0/3937, 1200.0/3937
		},
	},
	"marks": {marks: map[string]string{
		"field/marks.csv": marksHeader +
			"2026-06-12T14:01:00Z,40.0,-80.9998,0.02,GAS,A,R1,am,base 1,T1,\n" +
			"2026-06-12T14:00:00Z,40.0,-80.9999,99,WTR,A,R1,am,base 1,T1,at the hydrant\n" +
			"2026-06-12T14:00:00Z,40.0,-80.9999,99,WTR,A,R1,am,base 1,T1,at the hydrant\n" + // duplicate
			"2026-06-12T14:00:00Z,40.0,-80.9999,99,WTR,A,R1,am,base 1,T1,again\n" + // says something else
			",40.0,-80.9997,,,,,,,,\n" +
			"2026-06-12T14:02:00Z,,-80.9997,0.02,WTR,A,R1,am,base 1,T1,\n" +
			"2026-06-12T14:02:00Z,140,-80.9997,0.02,WTR,A,R1,am,base 1,T1,\n" +
			"noon,40,-80.9997,0.02,WTR,A,R1,am,base 1,T1,\n" +
			"2026-06-12T14:02:00Z,40,-80.9997,-1,WTR,A,R1,am,base 1,T1,\n" +
			",,,,,,,,,,\n" +
			"2026-06-12T14:03:00Z,40.0,-80.9996,0,SEW,A,R1,am,base 1,T1,\n",
		"field/copy.csv": marksHeader + "2026-06-12T14:01:00Z,40.0,-80.9998,0.02,GAS,A,R1,am,base 1,T1,\n",
	}, change: func(o *Options) { o.MaxRejectShare, o.Marks = 1, append(o.Marks, o.Marks[0]) }},
	"exposures": {exposures: map[string]string{
		"field/holes.csv": holesHeader +
			"TH2,2026-06-12T15:00:00Z,40.0,-80.9998,101.5,0.01,48,8.5,WTR,,S,TS-1,,control net,T7,clay\n" +
			"TH1,2026-06-12T14:00:00Z,40.0,-80.9999,,,-1,0,WTR,V-9,,,,,,\n" +
			"TH1,2026-06-12T14:00:00Z,40.0,-80.9999,,,-1,0,WTR,V-9,,,,,,\n" + // duplicate
			"TH3,2026-06-12T16:00:00Z,40.0,-80.9997,,0.01,-3,,WTR,,S,TS-1,,,,\n" +
			"TH4,2026-06-12T16:00:00Z,40.0,-80.9997,,0.01,36,wide,WTR,,S,TS-1,,,,\n" +
			"TH5,2026-06-12T16:00:00Z,0,0,,0.01,36,,WTR,,S,TS-1,,,,\n" +
			",,40.0,-80.9996,,0.01,36,6,,,S,TS-1,pm,,,\n",
	}, change: func(o *Options) { o.MaxRejectShare = 1 }},
	"evidence-set-aside": {
		marks: map[string]string{
			"field/bad-marks.csv":  marksHeader + "x,40,-81,,,,,,,,\ny,40,-81,,,,,,,,\nz,40,-81,,,,,,,,\nw,40,-81,,,,,,,,\n,40,-81,,,,,,,,\n",
			"field/letter.csv":     "Dear office\nthe marks are in the other file\n",
			"field/utf16.csv":      utf16Text(marksHeader + "2026-06-12T14:00:00Z,40.0,-80.9999,0.02,WTR,A,R1,,,,caf\u00e9\n"),
			"field/marks-gone.csv": marksHeader,
		},
		exposures: map[string]string{"field/bad-holes.csv": holesHeader + strings.Repeat("TH,2026-06-12T14:00:00Z,91,-81,,,,,,,,,,,,\n", 4)},
		change: func(o *Options) {
			for _, s := range o.Marks {
				if filepath.Base(s.Name) == "marks-gone.csv" {
					os.Remove(s.Path)
				}
			}
		},
	},
	"control": {control: map[string]string{
		"field/control.csv": "MARK,TIME,LAT,LON,TLAT,TLON,CREW,RX\n" +
			"M1,2026-06-12T14:00:00Z,40.00001,-81,40,-81,A,R1\n" +
			"M1,2026-06-12T14:00:00Z,40.00001,-81,40,-81,A,R1\n" +
			"M2,2026-06-12T15:00:00Z,40.00001,-81,,-81,A,R1\n",
	}},
}

func TestAccounts(t *testing.T) {
	for name, in := range cases {
		t.Run(name, func(t *testing.T) { golden(t, name, dump(in.read(t), true)) })
	}
}

// TestRowsAddUp adds up each source, and compares the rejects and readings with
// the account.
func TestRowsAddUp(t *testing.T) {
	for name, in := range cases {
		s := in.read(t)
		rejects, readings, duplicates := map[string]int{}, map[string]int{}, map[string]int{}
		for _, r := range s.Rejects {
			if r.Reason == "" || r.Row == 0 {
				t.Errorf("%s: a reject without place or reason: %+v", name, r)
			}
			rejects[r.File]++
		}
		for _, tr := range s.Traces {
			for _, m := range tr.Readings {
				if m.Duplicate != nil {
					duplicates[m.File]++
				} else {
					readings[m.File]++
				}
			}
		}
		for _, src := range s.Sources {
			if src.Rows != src.Used+src.Duplicates+src.Rejected || rejects[src.Name] != src.Rejected {
				t.Errorf("%s: %s: %d rows, %d used, %d duplicates, %d rejected, %d rejects", name, src.Name, src.Rows, src.Used, src.Duplicates, src.Rejected, rejects[src.Name])
			}
			if src.Role == "field" && (readings[src.Name] != src.Used || duplicates[src.Name] != src.Duplicates) {
				t.Errorf("%s: %s: %d used but %d readings, %d duplicates but %d marked", name, src.Name, src.Used, readings[src.Name], src.Duplicates, duplicates[src.Name])
			}
			counted := map[survey.Role]int{"marks": 0, "exposures": 0, "control": 0}
			for _, m := range s.Marks {
				counted["marks"] += ofFile(m.Place, src.Name)
			}
			for _, e := range s.Exposures {
				counted["exposures"] += ofFile(e.Place, src.Name)
			}
			for _, c := range s.Checks {
				counted["control"] += ofFile(c.Place, src.Name)
			}
			if n, one := counted[src.Role]; one && n != src.Used {
				t.Errorf("%s: %s: %d used but %d in the survey", name, src.Name, src.Used, n)
			}
			if src.SHA256 == "" && !strings.Contains(src.Name, "gone") {
				t.Errorf("%s: %s has no digest", name, src.Name)
			}
		}
	}
}

func ofFile(p survey.Place, file string) int {
	if p.File == file {
		return 1
	}
	return 0
}

// utf16Text is a text in UTF-16 with its mark, as spreadsheets save it.
func utf16Text(s string) string {
	b := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(s)) {
		b = binary.LittleEndian.AppendUint16(b, u)
	}
	return string(b)
}

// TestBrokenCSV reads damaged files: each ends in an account, kept beside the
// cases, and none ends the run.
func TestBrokenCSV(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/broken/csv*")
	if err != nil || len(paths) == 0 {
		t.Fatal("no damaged files", err)
	}
	o := input{field: map[string]string{"field/r.csv": "LINE,TIME,LAT,LON,DEPTH_IN\n"}}.options(t)
	src := o.Field[0]
	o.Field = nil
	for _, path := range paths {
		s := src
		s.Path, s.Name = path, filepath.Base(path)
		o.Field = append(o.Field, s)
	}
	s, err := Files(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "broken-csv", dump(s, true))
}
