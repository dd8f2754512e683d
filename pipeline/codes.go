package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// Names says whether crews, receivers and sessions go by their names.
type Names string

const (
	NamesGiven Names = "given"
	NamesCodes Names = "codes"
)

// coded is the survey with codes in the place of the names of crews, receivers
// and sessions. A name has the same code in every run. Codes keep names out of
// what is read and passed on; who has a list of the names can find out whose they
// are. Names that stand in remarks, tickets or the names of files stay.
func coded(s *survey.Survey) *survey.Survey {
	out := *s
	out.Traces = append([]survey.Trace(nil), s.Traces...)
	for i := range out.Traces {
		t := &out.Traces[i]
		t.ID = codedID(t)
		t.Crew, t.Receiver, t.Session = code("crew", t.Crew), code("receiver", t.Receiver), code("session", t.Session)
	}
	out.Marks = append([]survey.Mark(nil), s.Marks...)
	for i := range out.Marks {
		m := &out.Marks[i]
		m.Crew, m.Receiver, m.Session = code("crew", m.Crew), code("receiver", m.Receiver), code("session", m.Session)
	}
	out.Exposures = append([]survey.Exposure(nil), s.Exposures...)
	for i := range out.Exposures {
		e := &out.Exposures[i]
		e.Crew, e.Receiver, e.Session = code("crew", e.Crew), code("receiver", e.Receiver), code("session", e.Session)
	}
	out.Checks = append([]survey.Check(nil), s.Checks...)
	for i := range out.Checks {
		out.Checks[i].Session = code("session", out.Checks[i].Session)
	}
	return &out
}

// codedID is the id of a trace without the names of its crew and receiver, of
// which it was formed where the crew gave the line no name.
func codedID(t *survey.Trace) string {
	words := strings.Split(t.ID, " / ")
	for i, w := range words {
		for what, name := range map[string]string{"crew": t.Crew, "receiver": t.Receiver} {
			if name != "" && (w == name || i == 0 && strings.HasSuffix(w, ":"+name)) {
				words[i] = strings.TrimSuffix(w, name) + code(what, name)
			}
		}
	}
	return strings.Join(words, " / ")
}

// code stands for a name; nothing for none.
func code(what, name string) string {
	if name == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(what + "|" + name))
	return what + " " + hex.EncodeToString(sum[:4])
}
