package steady

import "math"

// Coverage is the probability a claimed half width stands for. The constants of the rules were set for it.
const Coverage = 0.95

// normal is the quantile z(0.975) of the normal distribution (JCGM 100 table G.1 gives 1.960).
const normal = 1.9599639845400542

// factors gives t(0.975, dof) for whole degrees of freedom that come again and again.
type factors struct {
	dof, value [2]float64
}

func (f *factors) t(dof float64) float64 {
	for i, d := range f.dof {
		if d == dof {
			return f.value[i]
		}
	}
	t := student(dof)
	f.dof = [2]float64{dof, f.dof[0]}
	f.value = [2]float64{t, f.value[0]}
	return t
}

// student is t(0.975, dof) for dof of at least 1, to 13 digits: the expansion about the normal quantile (Abramowitz and Stegun 26.7.5), then Newton's method with
// Halley's correction on the upper tail. The regularised incomplete beta function at hand is good to nine digits here, which is why the tail is our own.
func student(dof float64) float64 {
	const z, z2 = normal, normal * normal
	t := z * (1 + (z2+1)/(4*dof) + ((5*z2+16)*z2+3)/(96*dof*dof) + (((3*z2+19)*z2+17)*z2-15)/(384*dof*dof*dof))
	for range 20 {
		tail, density := upperTail(t, dof)
		d := (tail - (1-Coverage)/2) / density
		d /= 1 - d*(dof+1)*t/(2*(dof+t*t))
		t += d
		if math.Abs(d) < 1e-9*t { // the next step would be of the order of its cube
			break
		}
	}
	return t
}

// upperTail is the probability above t > 0 and the density at t of Student's distribution: the tail is ½·I_x(a, ½), a = dof/2, x = dof/(dof+t²), by its continued
// fraction (Abramowitz and Stegun 26.5.8) from the modified method of Lentz.
func upperTail(t, dof float64) (tail, density float64) {
	const b, enough = 0.5, 1e-15
	a := dof / 2
	x := dof / (dof + t*t)
	top, _ := math.Lgamma(a + b)
	bottom, _ := math.Lgamma(a)
	front := math.Exp(top-bottom-a*math.Log1p(t*t/dof)) / math.Sqrt(math.Pi)
	density = front * math.Sqrt(x/dof)
	c, d := 1.0, 1/(1-(a+b)*x/(a+1))
	h := d
	for m := 1.0; m < 1000; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / (1 + even*d)
		c = 1 + even/c
		h *= d * c
		d = 1 / (1 + odd*d)
		c = 1 + odd/c
		step := d * c
		h *= step
		if math.Abs(step-1) < enough {
			break
		}
	}
	return front * math.Sqrt(1-x) / a * h / 2, density
}
