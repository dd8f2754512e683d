package main

// Exit codes. They are part of the contract: scripts go by them.
const (
	exitPublished = 0
	exitFindings  = 1
	exitUsage     = 2
	exitFailed    = 3
	exitSetAside  = 4
)

const exitHelp = `
Exit codes:
  0  published
  1  findings, only with --fail-on findings
  2  usage or config
  3  the run failed, nothing was published
  4  published, but some input was set aside (goes before 1)
`

// exit is an error with the code to leave with. Without an error inside, all
// has been said already.
type exit struct {
	code int
	err  error
}

func (e exit) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}

func (e exit) Unwrap() error { return e.err }

func failed(err error) error { return exit{exitFailed, err} }
