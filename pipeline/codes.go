package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
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
	hide := func(crew, receiver, session *string) {
		*crew, *receiver, *session = code("crew", *crew), code("receiver", *receiver), code("session", *session)
	}
	out.Traces = slices.Clone(s.Traces)
	for i := range out.Traces {
		t := &out.Traces[i]
		t.ID = codedID(t)
		hide(&t.Crew, &t.Receiver, &t.Session)
	}
	out.Marks = slices.Clone(s.Marks)
	for i := range out.Marks {
		hide(&out.Marks[i].Crew, &out.Marks[i].Receiver, &out.Marks[i].Session)
	}
	out.Exposures = slices.Clone(s.Exposures)
	for i := range out.Exposures {
		hide(&out.Exposures[i].Crew, &out.Exposures[i].Receiver, &out.Exposures[i].Session)
	}
	out.Checks = slices.Clone(s.Checks)
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
		// A receiver with the crew's name goes by the crew's code.
		for _, of := range [][2]string{{"receiver", t.Receiver}, {"crew", t.Crew}} {
			if name := of[1]; name != "" && (w == name || i == 0 && strings.HasSuffix(w, ":"+name)) {
				words[i] = strings.TrimSuffix(w, name) + code(of[0], name)
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
