package pipeline

import (
	"testing"

	"github.com/asfound/asfound/pipeline/survey"
)

// Ids that were formed of names hold codes instead; of a crew and a receiver with
// one name it is always the crew's.
func TestCodedID(t *testing.T) {
	two, rx := code("crew", "2"), code("receiver", "RX-7")
	for _, c := range []struct{ id, crew, receiver, want string }{
		{"day.csv:2 / RX-7 / water", "2", "RX-7", "day.csv:" + two + " / " + rx + " / water"},
		{"day.csv:2 / 2 / water", "2", "2", "day.csv:" + two + " / " + two + " / water"},
		{"day.csv:RX-7 / water", "", "RX-7", "day.csv:" + rx + " / water"},
		{"day.csv:line 2", "2", "RX-7", "day.csv:line 2"},
	} {
		for range 20 {
			if got := codedID(&survey.Trace{ID: c.id, Crew: c.crew, Receiver: c.receiver}); got != c.want {
				t.Fatalf("%s of crew %q, receiver %q: %q, want %q", c.id, c.crew, c.receiver, got, c.want)
			}
		}
	}
}
