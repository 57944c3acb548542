package certificate

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"time"

	"plumbline/calibration"
	"plumbline/conformity"
	"plumbline/quantity"
)

// check names everything that forbids the certificate.
func (a *author) check() error {
	var errs []error
	missing := func(absent bool, item, clause string) {
		if absent {
			errs = append(errs, fmt.Errorf("certificate: %s is missing (ISO/IEC 17025:2017 %s)", item, clause))
		}
	}
	p, j := a.p, a.r.Job
	missing(p.Title == "", "title", "7.8.2.1 a")
	missing(p.Laboratory.Name == "", "name of the laboratory", "7.8.2.1 b")
	missing(len(p.Laboratory.Lines) == 0, "address of the laboratory", "7.8.2.1 b")
	missing(p.Location == "", "location where the calibration was performed", "7.8.2.1 c")
	missing(p.Number == "", "number of the certificate", "7.8.2.1 d")
	missing(p.Customer.Name == "", "name of the customer", "7.8.2.1 e")
	missing(len(p.Customer.Lines) == 0 && p.Customer.Contact == "", "contact information of the customer", "7.8.2.1 e")
	missing(j.Procedure.Method == "", "method", "7.8.2.1 f")
	missing(j.Device.Kind == "", "kind of the item", "7.8.2.1 g")
	missing(j.Device.Model == "", "model of the item", "7.8.2.1 g")
	missing(j.Device.Serial == "", "serial number of the item", "7.8.2.1 g")
	missing(p.Performed.IsZero(), "date of performance", "7.8.2.1 i")
	missing(p.Issued.IsZero(), "date of issue", "7.8.2.1 j")
	missing(len(a.valued()) == 0, "any result", "7.8.2.1 m")
	missing(p.AuthorisedBy == "", "name of the authorising person", "7.8.2.1 o")
	missing(j.Subject == calibration.NoSubject, "statement of what the sensitivity belongs to, the transducer or the whole chain", "7.8.2.1 m")
	missing(strings.TrimSpace(p.Traceability) == "", "statement of metrological traceability (laboratory.traceability; \"none\" where the laboratory makes no claim)", "7.8.4.1 c")
	missing(j.Reference.Serial == "" || j.Reference.Certificate.Number == "", "identity or certificate of the reference", "7.8.4.1 c")
	missing(a.origin.Software == "", "name and version of the software", "7.5.1")
	missing(a.origin.Digest == "", "digest of the result record", "7.5.1")
	errs = append(errs, a.checkDates()...)
	errs = append(errs, a.checkUnit()...)
	for i, p := range a.r.Points {
		if p.Refused == "" {
			errs = append(errs, checkPoint(i, p)...)
		}
	}
	for i, s := range a.statements {
		errs = append(errs, checkStatement(i, s)...)
	}
	return errors.Join(errs...)
}

func (a *author) checkDates() (errs []error) {
	p, j := a.p, a.r.Job
	last := p.Until
	if last.IsZero() {
		last = p.Performed
	}
	if !p.Performed.IsZero() && last.Before(p.Performed) {
		errs = append(errs, fmt.Errorf("certificate: performance ends on %s, before it begins on %s", date(last), date(p.Performed)))
	}
	if !p.Issued.IsZero() && dayOf(p.Issued).Before(dayOf(last)) {
		errs = append(errs, fmt.Errorf("certificate: issued on %s, before the last day of performance, %s", date(p.Issued), date(last)))
	}
	if !j.Performed.IsZero() && !p.Performed.IsZero() && date(j.Performed) != date(p.Performed) {
		errs = append(errs, fmt.Errorf("certificate: performed on %s, but the job says %s", date(p.Performed), date(j.Performed)))
	}
	if outside := a.outsideValidity(); outside != "" && strings.TrimSpace(j.ValidityOverride) == "" {
		errs = append(errs, fmt.Errorf("certificate: reference %s: %s, and nobody has said why it was used", j.Reference.Serial, outside))
	}
	return errs
}

// dayOf is the calendar day of a time, free of its zone.
func dayOf(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

func (a *author) checkUnit() []error {
	u := a.r.Job.Device.Unit
	_, input, ok := u.Per()
	if ok {
		_, ok = quantity.MotionOf(input)
	}
	if !ok {
		return []error{fmt.Errorf("certificate: unit %q of the sensitivity: allowed are an output per acceleration, velocity or displacement (ISO/IEC 17025:2017 7.8.2.1 m)", u.Symbol)}
	}
	return nil
}

func checkPoint(i int, p calibration.Point) (errs []error) {
	refuse := func(wrong bool, what string, found any) {
		if wrong {
			errs = append(errs, fmt.Errorf("certificate: point %d, %s Hz: %s: found %v", i+1, hertz(p.Frequency), what, found))
		}
	}
	m, q := cmplx.Abs(p.Sensitivity), p.Reported
	refuse(!positive(p.Frequency), "frequency must be a number above 0", p.Frequency)
	refuse(!positive(m), "sensitivity must be a number above 0", m)
	refuse(!positive(q.UModulus) || !positive(q.KModulus), "expanded uncertainty and coverage factor of the modulus must be numbers above 0", [2]float64{q.UModulus, q.KModulus})
	refuse(q.Evaluation == "", "the evaluation that the uncertainty comes from must be named", `""`)
	if p.HasPhase {
		refuse(!positive(q.UPhase) || !positive(q.KPhase), "expanded uncertainty and coverage factor of the phase must be numbers above 0", [2]float64{q.UPhase, q.KPhase})
	}
	refuse(p.Plan.Recording == nil && len(p.Plan.Readings) == 0, "neither a recording nor readings", "none")
	return errs
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

func checkStatement(i int, s conformity.Statement) (errs []error) {
	for _, item := range []struct{ name, value string }{{"subject", s.Subject}, {"requirement", s.Requirement}, {"decision rule", s.Rule}} {
		if item.value == "" {
			errs = append(errs, fmt.Errorf("certificate: statement of conformity %d: %s is missing (ISO/IEC 17025:2017 7.8.6.2)", i+1, item.name))
		}
	}
	return errs
}
