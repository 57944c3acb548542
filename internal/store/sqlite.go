package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver "sqlite"
)

//go:embed migrations/sqlite/*.sql
var migrations embed.FS

// databaseName is the file of the records in the folder of a store.
const databaseName = "records.db"

// soundSQLite is the first version without the defect in which a reset of the write-ahead log could lose committed pages.
var soundSQLite = [3]int{3, 51, 3}

// modes of opening a database file.
const (
	modeWrite  = "mode=rwc&_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=secure_delete(1)"
	modeRead   = "mode=rw&_pragma=query_only(1)"
	modeFrozen = "mode=ro&immutable=1&_pragma=query_only(1)" // on a medium that cannot be written to
)

// openSQLite opens a database file with at most n connections.
func openSQLite(file, mode string, n int) (*sql.DB, error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return nil, err
	}
	name := filepath.ToSlash(abs)
	if !strings.HasPrefix(name, "/") {
		name = "/" + name
	}
	u := url.URL{Scheme: "file", Path: name}
	db, err := sql.Open("sqlite", u.String()+"?"+mode+"&_pragma=busy_timeout(10000)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)&_pragma=recursive_triggers(1)&_pragma=cell_size_check(1)")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	return db, nil
}

// soundVersion refuses a version of SQLite that is known to lose records.
func soundVersion(version string) error {
	var got [3]int
	for i, p := range strings.SplitN(version, ".", 3) {
		n, err := strconv.Atoi(p)
		if err != nil {
			return fmt.Errorf("sqlite %q: not a version", version)
		}
		got[i] = n
	}
	for i := range got {
		if got[i] != soundSQLite[i] {
			if got[i] < soundSQLite[i] {
				return fmt.Errorf("sqlite %s: allowed is %d.%d.%d or later, because earlier ones can lose records", version, soundSQLite[0], soundSQLite[1], soundSQLite[2])
			}
			return nil
		}
	}
	return nil
}

// migrator brings the tables of a database to this program's version.
func migrator(db *sql.DB, d goose.Dialect, folder string, opts ...goose.ProviderOption) (*goose.Provider, error) {
	sub, err := fs.Sub(migrations, "migrations/"+folder)
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(d, db, sub, append(opts, goose.WithDisableGlobalRegistry(true))...)
}

// errBehind says that the tables are of an older version, errAhead of a newer one.
var (
	errBehind = errors.New("its tables are of an older version of this program and another program has it open: close it there first")
	errAhead  = errors.New("its tables are of a newer version of this program: allowed is that version or a later one")
)

// migrateSQLite brings the tables up where alone allows it, and says so where they are not this program's. It is called with the lock held.
func migrateSQLite(ctx context.Context, db *sql.DB, alone bool) error {
	p, err := migrator(db, goose.DialectSQLite3, "sqlite")
	if err != nil {
		return err
	}
	var tables int
	if err := db.QueryRowContext(ctx, "select count(*) from sqlite_schema where name = 'goose_db_version'").Scan(&tables); err != nil {
		return err
	}
	sources := p.ListSources()
	want, got := sources[len(sources)-1].Version, int64(0)
	if tables > 0 {
		if err := db.QueryRowContext(ctx, "select max(version_id) from goose_db_version").Scan(&got); err != nil {
			return err
		}
	}
	switch {
	case got > want:
		return fmt.Errorf("version %d: %w", got, errAhead)
	case got == want:
		return nil
	case !alone:
		return fmt.Errorf("version %d: %w", got, errBehind)
	}
	if _, err := p.Up(ctx); err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "update goose_db_version set tstamp = '1970-01-01 00:00:00'") // has no meaning; with one value a check can compare it
	return err
}

// schemaSQLite is everything in a database file beside records: tables, indexes, triggers, versions.
func schemaSQLite(ctx context.Context, db *sql.DB) (map[string]string, error) {
	all := map[string]string{}
	for _, q := range []string{
		"select type || ' ' || name, tbl_name || ': ' || coalesce(sql, '') from sqlite_schema",
		"select 'version ' || id, version_id || ' ' || is_applied || ' ' || tstamp from goose_db_version",
		"select 'sequence ' || name, seq from sqlite_sequence",
	} {
		err := session{on: db}.each(ctx, q, nil, func(rows *sql.Rows) error {
			var name, text string
			if err := rows.Scan(&name, &text); err != nil {
				return err
			}
			all[name] = text
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}
