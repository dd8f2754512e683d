package main

import (
	"strings"
	"testing"

	"github.com/asfound/asfound/pipeline"
	"github.com/asfound/asfound/pipeline/survey"
)

// Lines and points of a map are often layers of one file: each has its own bad
// rows.
func TestRejectsOfLayersOfOneFile(t *testing.T) {
	reject := func(reason string) survey.Reject {
		return survey.Reject{Place: survey.Place{File: "net.gpkg", Row: 1}, Reason: reason}
	}
	s := &survey.Survey{
		Sources: []survey.Source{
			{Name: "net.gpkg", Role: survey.RoleRecords, Rows: 2, Rejected: 2},
			{Name: "net.gpkg", Role: survey.RoleFittings, Rows: 1, Rejected: 1},
		},
		Rejects: []survey.Reject{reject("has no line"), reject("has no line"), reject("has no point")},
	}
	var b strings.Builder
	describe(&b, s, &pipeline.Job{})
	_, fittings, _ := strings.Cut(b.String(), "(fittings)")
	if strings.Count(b.String(), "has no line") != 1 || strings.Contains(fittings, "has no line") || !strings.Contains(fittings, "1 for has no point") {
		t.Errorf("check says:\n%s", b.String())
	}
}
