package correct

import "github.com/asfound/asfound/pipeline/survey"

func Lines(s *survey.Survey, js []survey.Judgement, fs []survey.Finding, m *survey.Model, o Options) []survey.Correction { return nil }
