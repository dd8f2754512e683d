package pipeline_test

import (
	"os"
	"testing"

	"github.com/asfound/asfound/config"
	"github.com/asfound/asfound/pipeline"
)

func TestMain(m *testing.M) {
	pipeline.SetOrdinary(config.Default())
	os.Exit(m.Run())
}
