package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"plumbline/bench"
	"plumbline/internal/guard"
	"plumbline/internal/jobfile"
	"plumbline/internal/lab"
	runfolder "plumbline/internal/run"
)

// measureFlags are the flags of the command.
type measureFlags struct {
	dir, operator, checklist string
	resume, accept           bool
}

func newMeasure() *cobra.Command {
	var o measureFlags
	cmd := &cobra.Command{
		Use:   "measure JOB.toml",
		Short: "Measure the points of a job on a live bench, and evaluate them",
		Long: `Measure reads a job with its table [bench], plans the points, asks the checklist, and then drives the exciter
and records point by point: a point is kept when its ratio is steady to the half width the procedure wants, and
its recording is complete on disk. It ends with the result and the certificate, made from the run's own job file
as from any other recordings. Points recorded elsewhere and values read off a display are taken in the same way.

While it runs, lines typed are commands:
  p pause       r resume      n TEXT note          s skip the point        q stop
  w wait longer (twice)       k REASON keep it     a N measure step N again
Ctrl-C halts the exciter at once. A run that was stopped goes on with --resume; nothing that was kept is lost.
docs/measure.md says more.`,
		Args: exactly("JOB.toml"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.dir == "" {
				return usage(errors.New("measure: the folder of the run is missing: --run DIR"))
			}
			return measure(cmd, args[0], o)
		},
	}
	cmd.Flags().StringVar(&o.dir, "run", "", "folder of the run: journal, recordings, result, certificate")
	cmd.Flags().BoolVar(&o.resume, "resume", false, "go on with a run at the first step that is not kept")
	cmd.Flags().StringVar(&o.operator, "operator", "", "name of who operates the bench (default: who performs the job)")
	cmd.Flags().StringVar(&o.checklist, "checklist", "", "file with the answers to the checklist, lines KEY: yes REMARK")
	cmd.Flags().BoolVar(&o.accept, "yes-checklist", false, "answer the whole checklist with yes; the run says that nobody was asked")
	return cmd
}

// session is one program's part of a run.
type session struct {
	m       *lab.Measurement
	folder  *runfolder.Folder
	console *console
	flags   measureFlags
	job     string // its file
	now     func() time.Time
}

func measure(cmd *cobra.Command, job string, o measureFlags) (err error) {
	// from here on a second Ctrl-C changes nothing: the first one halts the exciter
	ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	m, err := newLab().Prepare(job)
	if err != nil {
		return err
	}
	if o.operator == "" {
		o.operator = m.Job.Particulars.PerformedBy
	}
	s := &session{m: m, job: job, flags: o, now: time.Now, console: newConsole(cmd.InOrStdin(), cmd.OutOrStdout(), o.operator)}
	s.introduce(cmd.OutOrStdout())
	begin := m.Begin
	if o.resume {
		begin = m.Resume
	}
	if s.folder, err = begin(o.dir, s.now); err != nil {
		return hinted(err, o)
	}
	err = s.drive(ctx)
	if err == nil {
		err = s.folder.Finish("every step is kept or was skipped")
	}
	if closed := s.folder.Close(); err != nil || closed != nil {
		return errors.Join(s.stopped(err), closed)
	}
	return finish(cmd.OutOrStdout(), m, s.folder)
}

// hinted adds what to do about a folder that cannot be begun or taken up.
func hinted(err error, o measureFlags) error {
	switch {
	case errors.Is(err, runfolder.ErrExists):
		return fmt.Errorf("%w: --resume goes on with it; another run needs another folder", err)
	case errors.Is(err, runfolder.ErrNone) && o.resume:
		return fmt.Errorf("%w: without --resume it is begun", err)
	}
	return err
}

// stopped says how far the run came and how it goes on.
func (s *session) stopped(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w\n%d of %d steps are kept in %s; --resume goes on", err, s.done(), len(s.m.Steps), s.flags.dir)
}

// done counts the steps that are kept.
func (s *session) done() (n int) {
	state := s.folder.State()
	for i := range s.m.Steps {
		if _, ok := state.Last(i); ok {
			n++
		}
	}
	return n
}

// introduce prints what is to be measured.
func (s *session) introduce(w io.Writer) {
	m := s.m
	c := m.Job.Calibration
	fmt.Fprintf(w, "job %s: device %s against %s, driver %s\n", c.Number, c.Device.Serial, c.Reference.Serial, m.Bench.Driver)
	if m.Job.Particulars.Invented {
		fmt.Fprintln(w, "ALL DATA ARE INVENTED: an example, not a calibration.")
	} else if today := s.now().Format(time.DateOnly); today < c.Performed.Format(time.DateOnly) || today > c.Until.Format(time.DateOnly) {
		fmt.Fprintf(w, "the job says it is performed from %s to %s, today is %s: the certificate prints what the job says\n", c.Performed.Format(time.DateOnly), c.Until.Format(time.DateOnly), today)
	}
	planned := map[float64]float64{} // s
	if m.Plan != nil {
		for _, q := range m.Plan.Points {
			planned[q.Frequency] = q.Bench
		}
	}
	for i, step := range m.Steps {
		text := fmt.Sprintf("%4d  %-40s wanted ±%.2g %%", i+1, step.Label, 100*step.Judge.Modulus)
		if seconds := planned[step.Lines[0].Frequency]; seconds > 0 && len(step.Lines) == 1 {
			text += fmt.Sprintf(", planned %.0f s", math.Ceil(seconds))
		}
		fmt.Fprintln(w, text)
	}
	if m.Plan != nil {
		for _, q := range m.Plan.Infeasible {
			fmt.Fprintf(w, "      %.4g Hz is not measured: %s\n", q.Frequency, q.Reason)
		}
		fmt.Fprintf(w, "planned: %.0f min without warm-up; plumbline plan says more\n", math.Ceil((m.Plan.Bench+m.Plan.ChangeOver)/60))
	}
}

// drive measures what is left of the run.
func (s *session) drive(ctx context.Context) error {
	if s.done() == len(s.m.Steps) {
		s.console.say("every step is kept already")
		return nil
	}
	if err := s.check(ctx); err != nil {
		return err
	}
	switch s.m.Bench.Driver {
	case jobfile.DriverFolder:
		return s.collect(ctx)
	case jobfile.DriverReadings:
		return s.read(ctx)
	}
	return s.live(ctx)
}

// live drives the exciter, watched over by a guard: no guard, no drive.
func (s *session) live(ctx context.Context) (err error) {
	log, err := filepath.Abs(filepath.Join(s.folder.Dir(), "guard.log"))
	if err != nil {
		return err
	}
	order, err := guardOrder(s.m)
	if err != nil {
		return err
	}
	order.Log, order.Silence = log, guard.SilenceUsual
	g, err := startGuard(order)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, g.Done()) }()
	s.console.say("the guard is ready: it turns the output off when this program cannot")
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	go func() {
		select {
		case <-g.Lost():
			cancel(errors.New("the guard has ended: without it nothing is driven"))
		case <-ctx.Done():
		}
	}()
	instruments, shut, err := openBench(ctx, s.m)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, shut()) }()
	s.console.relay(ctx)
	set := s.m.Set(instruments)
	set.Archive, set.Operator, set.Commands = s.folder, s.console, s.console.commands
	p := &progress{console: s.console, m: s.m}
	set.Watch = p.watch
	state := s.folder.State()
	for i := range s.m.Steps {
		set.Tried = append(set.Tried, state.Begun[i])
		if _, ok := state.Last(i); ok {
			set.Done = append(set.Done, i)
		}
	}
	report, err := bench.Run(ctx, set)
	if cause := context.Cause(ctx); err != nil && cause != nil && errors.Is(err, context.Canceled) {
		err = cause
		if errors.Is(cause, context.Canceled) {
			err = errors.New("stopped by a signal")
		}
	}
	s.console.say("%d kept in %s of bench time", len(report.Kept), clockText(report.Seconds))
	return err
}

// finish makes the run's job file and evaluates it as any other.
func finish(w io.Writer, m *lab.Measurement, f *runfolder.Folder) error {
	job, err := m.Compose(f)
	if err != nil {
		return err
	}
	e, err := newLab().Evaluate(job, "")
	if err != nil {
		return err
	}
	result := filepath.Join(f.Dir(), "result.json")
	record, err := writeResult(e, result)
	if err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := printEvaluation(w, e); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nresult: %s (SHA-256 %s)\njob: %s\n", result, record, job)
	if err := e.Refused(); err != nil {
		return fmt.Errorf("no certificate while points have no value\n%w", err)
	}
	paths, err := writeCertificate(e, filepath.Join(f.Dir(), "certificate.pdf"), true)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "certificate: %s\n", paths[0])
	return outcome(e)
}
