package rank

import "github.com/asfound/asfound/pipeline/survey"

func Stretches(s *survey.Survey, js []survey.Judgement, m *survey.Model, o Options) []survey.Resurvey { return nil }
