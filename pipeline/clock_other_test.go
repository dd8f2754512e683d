//go:build !unix

package pipeline_test

import "time"

var began = time.Now()

// processorSeconds is the time since the start: near enough where nothing else runs.
func processorSeconds() float64 { return time.Since(began).Seconds() }
