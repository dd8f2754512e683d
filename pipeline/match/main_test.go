package match_test

import (
	"os"
	"testing"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/pipeline/match"
)

func TestMain(m *testing.M) {
	match.SetOrdinary(config.Default().Match)
	os.Exit(m.Run())
}
