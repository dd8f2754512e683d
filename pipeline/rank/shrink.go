package rank

// shrink is the empirical-Bayes estimate of many means at once (Efron and Morris
// 1975; Carter and Rolph 1974 with unequal variances): y are the observed ones,
// variances those of their errors. Between the true ones there is a variance under which
// the squares of what the observed ones lie off their weighted mean come to what is
// expected of chance; each is drawn to that mean by its own variance's share, all the
// way where chance explains all. With equal variances, k - 3 expected makes it the
// positive part of James and Stein's estimator.
func shrink(y, variances []float64, expected float64) (mean float64, out []float64) {
	about := func(between float64) (mean, squares float64) {
		sum := 0.0
		for i := range y {
			w := 1 / (variances[i] + between)
			mean, sum = mean+w*y[i], sum+w
		}
		mean /= sum
		for i := range y {
			squares += (y[i] - mean) * (y[i] - mean) / (variances[i] + between)
		}
		return mean, squares
	}
	out = make([]float64, len(y))
	if len(y) == 0 {
		return 0, out
	}
	between := 0.0
	if _, squares := about(0); expected > 0 && squares > expected {
		low, high := 0.0, 1.0
		for _, squares = about(high); squares > expected; _, squares = about(high) {
			low, high = high, 2*high
		}
		for range 60 {
			between = (low + high) / 2
			if _, squares = about(between); squares > expected {
				low = between
			} else {
				high = between
			}
		}
	}
	mean, _ = about(between)
	for i := range y {
		out[i] = mean + between/(between+variances[i])*(y[i]-mean)
	}
	return mean, out
}
