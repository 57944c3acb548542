package sine

// fillLegendre sets p[k] to the Legendre polynomial of order k at u: (k+1) P_{k+1} = (2k+1) u P_k - k P_{k-1}.
func fillLegendre(p []float64, u float64) {
	for k := range p {
		switch k {
		case 0:
			p[0] = 1
		case 1:
			p[1] = u
		default:
			p[k] = (float64(2*k-1)*u*p[k-1] - float64(k-1)*p[k-2]) / float64(k)
		}
	}
}

// shiftLegendre expands P_k(u + a x), k = 0..order, in P_i(x): row k holds the k+1 coefficients, rows one after another.
// The recurrence of fillLegendre in the variable u + a x, with x P_i = ((i+1) P_{i+1} + i P_{i-1})/(2i+1).
func shiftLegendre(order int, u, a float64) []float64 {
	rows := make([][]float64, order+1)
	var all []float64
	for k := range rows {
		r := make([]float64, k+1)
		if k == 0 {
			r[0] = 1
		} else {
			c := float64(2*k-1) / float64(k)
			for i, v := range rows[k-1] {
				r[i] += c * u * v
				r[i+1] += c * a * v * float64(i+1) / float64(2*i+1)
				if i > 0 {
					r[i-1] += c * a * v * float64(i) / float64(2*i+1)
				}
			}
			if k > 1 {
				for i, v := range rows[k-2] {
					r[i] -= float64(k-1) / float64(k) * v
				}
			}
		}
		rows[k] = r
		all = append(all, r...)
	}
	return all
}
