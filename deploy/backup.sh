#!/usr/bin/env bash
# Writes one backup of the database in EAVESWARD_DATABASE_URL into a directory, while the service runs, and prints
# its path: backup.sh DIRECTORY
#
# The URL comes by the environment, not as an argument, because anyone on the machine can read arguments.
# A backup appears under its name only once it is whole and has been read back. README.md says how to restore it.
set -euo pipefail
# Keys are stored as hashes and webhook secrets encrypted, but addresses and notes are in there as well. The key of the
# secrets is in a file of its own, which is left out: keep a copy of it somewhere else.
umask 077

stop() {
  printf 'backup.sh: %s\n' "$*" >&2
  exit 1
}

(($# == 1)) || stop "usage: EAVESWARD_DATABASE_URL=... backup.sh DIRECTORY"
directory=$1
url=${EAVESWARD_DATABASE_URL:-}
[[ -n $url ]] || stop "EAVESWARD_DATABASE_URL is not set"
[[ -d $directory ]] || stop "$directory is not a directory"

name=$directory/eavesward-$(date -u +%Y%m%dT%H%M%SZ)
partial=$name.partial
trap 'rm -f "$partial"' EXIT

backup_sqlite() {
  command -v sqlite3 >/dev/null || stop "sqlite3 is missing (Debian: apt-get install sqlite3)"
  local file=${url#sqlite:}
  file=${file#//}
  file=${file%%\?*}
  # sqlite3 would make an empty database of a misspelt name, and a backup of that.
  [[ -f $file ]] || stop "there is no database file $file"
  # One read transaction: a snapshot that neither waits for writers nor holds them up. `.backup` would start over
  # at every write of another process.
  sqlite3 -bail -cmd '.timeout 30000' "$file" "VACUUM INTO '${partial//\'/\'\'}'"
  # The mark tells the service that it runs on a restored backup. Databases of early versions have no place for it.
  if [[ -n $(sqlite3 "$partial" "SELECT 1 FROM sqlite_master WHERE name = 'incarnation'") ]]; then
    sqlite3 -bail "$partial" "INSERT OR REPLACE INTO incarnation (one, mark) VALUES (1, 'backup')"
  fi
  [[ $(sqlite3 -readonly "$partial" 'PRAGMA integrity_check') == ok ]] || stop "the copy does not pass its integrity check"
  keep "$name.db"
}

backup_postgres() {
  command -v pg_dump >/dev/null || stop "pg_dump is missing (Debian: apt-get install postgresql-client)"
  local plain=$url
  if [[ $url =~ ^([a-z]+://[^:/@]*):([^@]*)@(.*)$ ]]; then
    plain=${BASH_REMATCH[1]}@${BASH_REMATCH[3]}
    local password=${BASH_REMATCH[2]//\\/\\\\}
    printf -v PGPASSWORD '%b' "${password//%/\\x}"
    export PGPASSWORD
  fi
  # The owner is left out, so that the backup can be restored by another role.
  pg_dump --format=custom --no-owner --no-privileges --file="$partial" --dbname="$plain"
  pg_restore --list "$partial" >/dev/null
  keep "$name.dump"
}

keep() {
  [[ ! -e $1 ]] || stop "$1 is there already"
  mv "$partial" "$1"
  printf '%s\n' "$1"
}

case $url in
  sqlite:*) backup_sqlite ;;
  postgres://* | postgresql://*) backup_postgres ;;
  *) stop "EAVESWARD_DATABASE_URL is neither sqlite: nor postgres:" ;;
esac
