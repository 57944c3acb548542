package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// dialect is what differs between the databases.
type dialect struct {
	numbered bool                                                     // placeholders are $1, $2
	lock     string                                                   // first statement of a transaction that writes; empty: its begin locks
	snapshot *sql.TxOptions                                           // of a transaction that reads one state of everything
	check    func(ctx context.Context, db *sql.DB) ([]Problem, error) // what the database can say about itself
}

// rebind numbers the placeholders of a query, outside quotes.
func (d dialect) rebind(query string) string {
	if !d.numbered {
		return query
	}
	var b strings.Builder
	n, quoted := 0, false
	for _, c := range query {
		switch {
		case c == '\'':
			quoted = !quoted
			b.WriteRune(c)
		case c == '?' && !quoted:
			n++
			fmt.Fprintf(&b, "$%d", n)
		default:
			b.WriteRune(c)
		}
	}
	return b.String()
}

// session is a transaction, or a pool that may only read, spoken to in one dialect.
type session struct {
	dialect
	on interface {
		ExecContext(context.Context, string, ...any) (sql.Result, error)
		QueryContext(context.Context, string, ...any) (*sql.Rows, error)
		QueryRowContext(context.Context, string, ...any) *sql.Row
	}
}

func (s session) exec(ctx context.Context, query string, args ...any) error {
	_, err := s.on.ExecContext(ctx, s.rebind(query), args...)
	return err
}

// row scans the one row of a query.
func (s session) row(ctx context.Context, query string, args []any, into ...any) error {
	return s.on.QueryRowContext(ctx, s.rebind(query), args...).Scan(into...)
}

// each scans every row of a query with scan.
func (s session) each(ctx context.Context, query string, args []any, scan func(*sql.Rows) error) error {
	rows, err := s.on.QueryContext(ctx, s.rebind(query), args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
