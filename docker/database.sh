#!/bin/bash
# Run once by the PostgreSQL image, on an empty data folder: two roles and the database. The first owns the
# tables and migrates; the second is web, worker and beat, which may do what the work needs and no more
# (manage.py rights). Neither is a superuser.
set -euo pipefail

psql --no-psqlrc --set ON_ERROR_STOP=1 --username "$POSTGRES_USER" --dbname postgres \
    --set owner_password="$OWNER_PASSWORD" --set app_password="$APP_PASSWORD" \
    --set connections="${DATABASE_CONNECTIONS:-80}" <<'SQL'
CREATE ROLE training_owner LOGIN PASSWORD :'owner_password';
CREATE ROLE training_app LOGIN PASSWORD :'app_password' CONNECTION LIMIT :connections;
CREATE DATABASE training OWNER training_owner ENCODING 'UTF8' TEMPLATE template0 LOCALE 'C.UTF-8';
REVOKE ALL ON DATABASE training FROM PUBLIC;
GRANT CONNECT ON DATABASE training TO training_app;
ALTER ROLE training_app IN DATABASE training SET statement_timeout = '30s';
ALTER ROLE training_app IN DATABASE training SET idle_in_transaction_session_timeout = '60s';
\connect training
ALTER SCHEMA public OWNER TO training_owner;
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO training_app;
SQL
