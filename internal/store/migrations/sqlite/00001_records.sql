-- +goose Up
create table records (
    id      integer primary key, -- local, in order of arrival
    chain   text not null,
    seq     integer not null,
    digest  text not null unique,
    kind    text not null,
    key     text not null,
    time    text not null,
    content text not null, -- all of the record; the other columns repeat it for searching
    unique (chain, seq)
) strict;
create index records_by_key on records (kind, key, time);
create index records_by_time on records (time);

create table links (
    record integer not null references records (id),
    role   text not null,
    ord    integer not null,
    target text not null,
    primary key (record, role, ord)
) strict, without rowid;
create index links_by_target on links (role, target, record);

create table home (
    one   integer primary key check (one = 1),
    chain text not null
) strict;

-- +goose StatementBegin
create trigger records_stay before update on records begin
    select raise(abort, 'a record is never changed: correct it with a new one');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger records_remain before delete on records begin
    select raise(abort, 'a record is never deleted: correct it with a new one');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger records_once before insert on records
when exists (select 1 from records where id = new.id or digest = new.digest or (chain = new.chain and seq = new.seq)) begin
    select raise(abort, 'a record is never overwritten: its place is taken');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger links_stay before update on links begin
    select raise(abort, 'the index of a record is never changed');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger links_remain before delete on links begin
    select raise(abort, 'the index of a record is never deleted');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger links_once before insert on links
when exists (select 1 from links where record = new.record and role = new.role and ord = new.ord) begin
    select raise(abort, 'the index of a record is never overwritten');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger home_stays before update on home begin
    select raise(abort, 'a store keeps its chain');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger home_remains before delete on home begin
    select raise(abort, 'a store keeps its chain');
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger home_once before insert on home when exists (select 1 from home) begin
    select raise(abort, 'a store keeps its chain');
end;
-- +goose StatementEnd
