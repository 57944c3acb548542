package main

import (
	"bufio"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	runfolder "plumbline/internal/run"
)

// shortJob writes the example of a live run with three points and their repeats below dir, and returns the name of the job file.
func shortJob(dir string) (string, error) {
	root := filepath.Join("..", "..", "examples")
	for _, name := range []string{"measure/job.toml", "measure/R-201-certificate.csv", "plan/X-03.toml", "procedures/laboratory.toml"} {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(name)))
		if err != nil {
			return "", err
		}
		for from, to := range map[string]string{
			`frequencies = ["2 Hz", "3 Hz", "5 Hz", "10 Hz", "20 Hz", "40 Hz", "80 Hz"]`: `frequencies = ["20 Hz", "40 Hz", "80 Hz"]`,
			"trials = 200000": "trials = 10000",
		} {
			text = []byte(strings.Replace(string(text), from, to, 1))
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, text, 0o644)); err != nil {
			return "", err
		}
	}
	return filepath.Join(dir, "measure", "job.toml"), nil
}

// program is this program measuring, as a process of its own.
type program struct {
	*exec.Cmd
	mu    sync.Mutex
	text  strings.Builder
	heard chan string // lines of its output
	ended chan error
}

func startMeasure(t *testing.T, args ...string) *program {
	t.Helper()
	p := &program{Cmd: exec.Command(os.Args[0], append([]string{"measure"}, args...)...), heard: make(chan string, 1000), ended: make(chan error, 1)}
	p.Env = append(os.Environ(), runAsProgram+"=1")
	p.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	p.Stdout, p.Stderr = w, w
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	go func() {
		for lines := bufio.NewScanner(r); lines.Scan(); {
			p.mu.Lock()
			p.text.WriteString(lines.Text() + "\n")
			p.mu.Unlock()
			select {
			case p.heard <- lines.Text():
			default: // nobody listens
			}
		}
		p.ended <- errors.Join(p.Wait(), r.Close())
		close(p.heard)
	}()
	return p
}

// waitFor waits until it prints a line with the text, or ends.
func (p *program) waitFor(text string) {
	for line := range p.heard {
		if strings.Contains(line, text) {
			return
		}
	}
}

// said is everything it printed.
func (p *program) said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

// end waits for its end and returns its exit code, -1 for a signal.
func (p *program) end(t *testing.T) int {
	t.Helper()
	select {
	case err := <-p.ended:
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Fatal(err)
		}
		return p.ProcessState.ExitCode()
	case <-time.After(2 * time.Minute): // only keeps a test that fails from waiting for ever
		t.Fatalf("does not end:\n%s", p.said())
		return 0
	}
}

// offs counts how often guards have turned the output off in a run.
func offs(dir string) int {
	text, _ := os.ReadFile(filepath.Join(dir, "guard.log")) // not there before the first guard has ended
	return strings.Count(string(text), "output off: ")
}

// keptIn is what a run has kept, and that it is what it was.
func keptIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	s, err := runfolder.Read(dir)
	if err == nil {
		err = s.Verify(dir)
	}
	if err != nil {
		t.Fatal(err)
	}
	kept := map[string]string{}
	for _, k := range s.Kept {
		kept[k.File] = k.SHA256
	}
	return kept
}

// kills is how many programs are killed while they measure.
func kills() int {
	if os.Getenv("PLUMBLINE_SOAK") != "" {
		return 200
	}
	return 20
}

// TestKilledRuns kills programs that measure at random moments. The guard turns the output off each time; nothing that was said to be kept is lost or altered; the run
// goes on where it was and ends with a result and a certificate.
func TestKilledRuns(t *testing.T) {
	const seed = 20261125
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	job, err := shortJob(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for killed, n := 0, 0; killed < kills(); n++ {
		k := killing{t: t, dir: filepath.Join(t.TempDir(), fmt.Sprintf("run-%d", n)), job: job, before: map[string]string{}}
		for stopped := 0; ; {
			p := startMeasure(t, k.args()...)
			if killed < kills() {
				p.waitFor([]string{"planned", "quiet check", "low-level check", "level", "kept"}[rng.IntN(5)])
				time.Sleep(time.Duration(rng.Float64() * float64(100*time.Millisecond)))
				if p.Process.Kill() == nil {
					killed++
				}
			}
			code := p.end(t)
			k.look(p)
			if code == 0 {
				break
			}
			if code > 0 { // the bench had its own reason to stop, from which a run must go on as well
				if stopped++; stopped > 5 {
					t.Fatalf("exit code %d\n%s", code, p.said())
				}
			}
		}
		for _, name := range []string{"result.json", "certificate.pdf"} {
			if _, err := os.Stat(filepath.Join(k.dir, name)); err != nil {
				t.Error(err)
			}
		}
	}
}

// killing is a run whose programs are killed.
type killing struct {
	t        *testing.T
	dir, job string
	before   map[string]string // recordings kept, with their digests
	guarded  int               // guards that said they were ready
}

func (k *killing) args() []string {
	args := []string{k.job, "--run", k.dir, "--yes-checklist"}
	if _, err := os.Stat(filepath.Join(k.dir, "run.json")); err == nil {
		args = append(args, "--resume")
	}
	return args
}

// look looks at a run after a program that measured has ended.
func (k *killing) look(p *program) {
	k.t.Helper()
	k.guarded += strings.Count(p.said(), "guard is ready")
	for limit := time.Now().Add(time.Minute); offs(k.dir) < k.guarded && time.Now().Before(limit); time.Sleep(time.Millisecond) {
	}
	if offs(k.dir) < k.guarded {
		k.t.Fatal("the output was not turned off")
	}
	if _, err := os.Stat(filepath.Join(k.dir, "run.json")); err != nil {
		return // killed before the run began
	}
	after := keptIn(k.t, k.dir)
	for name, sum := range k.before {
		if after[name] != sum {
			k.t.Errorf("%s was kept and is lost or altered", name)
		}
	}
	for _, line := range strings.Split(p.said(), "\n") {
		if _, name, found := strings.Cut(line, "kept: "); found && after[name] == "" {
			k.t.Errorf("%s was said to be kept and is lost", name)
		}
	}
	k.before = after
}

// TestInterrupted presses Ctrl-C twice in the middle of a point: the exciter is halted, the second time does not stop that, and the run goes on.
func TestInterrupted(t *testing.T) {
	job, err := shortJob(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for try := 0; ; try++ {
		dir := filepath.Join(t.TempDir(), "run")
		p := startMeasure(t, job, "--run", dir, "--yes-checklist")
		p.waitFor("low-level check")
		for range 2 {
			if err := syscall.Kill(-p.Process.Pid, syscall.SIGINT); err != nil && !errors.Is(err, syscall.ESRCH) {
				t.Fatal(err)
			}
		}
		if p.end(t); p.ProcessState.ExitCode() == 0 && try < 5 {
			continue // it was faster
		}
		text := p.said()
		if code := p.ProcessState.ExitCode(); code != exitFailure || !strings.Contains(text, "halted: the exciter is off") || !strings.Contains(text, "stopped by a signal") ||
			!strings.Contains(text, "--resume goes on") {
			t.Fatalf("exit code %d\n%s", code, text)
		}
		if log, err := os.ReadFile(filepath.Join(dir, "guard.log")); err != nil || !strings.Contains(string(log), "the run is over") {
			t.Errorf("guard: %s (%v)", log, err)
		}
		again := startMeasure(t, job, "--run", dir, "--yes-checklist", "--resume")
		if again.end(t); !strings.Contains(again.said(), ", attempt 2") {
			t.Fatalf("resumed:\n%s", again.said())
		}
		return
	}
}
