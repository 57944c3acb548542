package history

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/conformity"
)

var fleetSettings = FleetSettings{Settings: stated, FalseDrifts: 0.05, Siblings: 5, Disagree: 4}

// fleet is 14 sensors of one model, A-0401 to A-0414, that do nothing but scatter by their uncertainty, in a pattern without randomness.
func fleet() []Sensor {
	var all []Sensor
	for i := range 14 {
		s := Series{Serial: fmt.Sprintf("A-%04d", 401+i), Frequency: 100, Tolerance: conformity.Limits{Lower: 0.95, Upper: 1.05}}
		for k := range 4 {
			m := 1 + 0.01*math.Sin(float64(5*i)) + 0.001*math.Sin(float64(i*i+7*k*k+3))
			s.Results = append(s.Results, Result{Certificate: fmt.Sprint(s.Serial, "-", k), Date: on("2022-03-01").AddDate(k, 0, i), Modulus: m, Std: 2e-3, K: 2, StdCommon: 1.7e-3, Shares: "R-201/7"})
		}
		all = append(all, Sensor{Serial: s.Serial, Model: "D-8", Due: on("2026-03-01").AddDate(0, 0, 30*i), At: []Series{s}})
	}
	return all
}

// TestFleet plants one drifting sensor, one that jumped and one overdue, and expects each in its view and nothing else in any.
func TestFleet(t *testing.T) {
	sensors := fleet()
	for k := range 4 {
		sensors[3].At[0].Results[k].Modulus *= 1 + 0.008*float64(k)
	}
	sensors[7].At[0].Results[3].Modulus *= 1.02
	sensors[9].Due = time.Time{}
	today := on("2026-04-15")
	rows, err := Fleet(sensors, fleetSettings, today)
	if err != nil || len(rows) != 14 {
		t.Fatal(len(rows), err)
	}
	names := func(rows []Row) string {
		var all []string
		for _, r := range rows {
			all = append(all, r.Serial)
		}
		return strings.Join(all, " ")
	}
	if got := names(Drifting(rows)); got != "A-0404 A-0408" {
		t.Errorf("drifting: %s, want A-0404 and A-0408", got)
	}
	if got := names(DueBy(rows, today)); got != "A-0401 A-0402" {
		t.Errorf("due: %s, want the first two", got)
	}
	if got := names(Disagreeing(rows)); !strings.Contains(got, "A-0404") || !strings.Contains(got, "A-0408") || len(strings.Fields(got)) != 2 {
		t.Errorf("disagreeing: %s, want A-0404 and A-0408", got)
	}
	if rows[13].Serial != "A-0410" || rows[0].Serial != "A-0404" {
		t.Errorf("order %s: want the drifting one first, the one without a due date last", names(rows))
	}
	for i := 1; i < 13; i++ {
		if rows[i].WithinAtDue < rows[i-1].WithinAtDue {
			t.Errorf("row %d is out of order", i)
		}
	}
	again, err := Fleet(sensors, fleetSettings, today)
	if err != nil || fmt.Sprintf("%v", again) != fmt.Sprintf("%v", rows) {
		t.Error("examined twice, the fleet differs")
	}
}

// TestCommonDrift: where all sensors move together the reference is named, not they.
func TestCommonDrift(t *testing.T) {
	sensors := fleet()
	for i := range sensors {
		for k := range sensors[i].At[0].Results {
			sensors[i].At[0].Results[k].Modulus *= 1 + 0.004*float64(k)
		}
	}
	rows, err := Fleet(sensors, fleetSettings, on("2026-04-15"))
	if err != nil {
		t.Fatal(err)
	}
	if d := Disagreeing(rows); len(d) > 0 {
		t.Errorf("%s disagrees with siblings that do the same", d[0].Serial)
	}
	all := CommonDrifts(rows, 5)
	if len(all) != 1 || all[0].N != 14 || !(all[0].Z > 10) || math.Abs(all[0].Median-0.004) > 5e-4 {
		t.Errorf("common drifts %+v, want one of 0.4 %% a year", all)
	}
	if len(CommonDrifts(rows, 15)) != 0 {
		t.Error("a common drift of fewer sensors than asked for")
	}
}

// TestFewSiblings: a sensor without enough of them, or without a model, disagrees with nobody; a series with a fault is named and keeps the others.
func TestFewSiblings(t *testing.T) {
	sensors := fleet()[:6]
	sensors[5].At[0].Results[3].Modulus *= 1.5
	sensors[4].Model = ""
	sensors[0].At[0].Results[0].Std = 0
	rows, err := Fleet(sensors, fleetSettings, on("2026-04-15"))
	if err == nil || !strings.Contains(err.Error(), "A-0401") || len(rows) != 5 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, r := range rows {
		if r.Disagrees() || !math.IsNaN(r.Level.Z) {
			t.Errorf("%s with %d siblings: z %g", r.Serial, r.Level.N, r.Level.Z)
		}
	}
	if _, err := Fleet(nil, FleetSettings{}, time.Time{}); err == nil {
		t.Error("no settings were accepted")
	}
}
