"""Nothing lapses unseen: what ends, who is told, and the outbox.

    standings      a record that changed -> where its student stands, and the lapses to come
    due            a lapse whose time has come -> reminder rows, and what is to be sent to whom
    fleet          the same of what ends of a school's aircraft
    outbox         what is to be sent -> sent, each row once
    audits         every school's records, audited once a night
    calendars      a person's lapses as RFC 5545 has them
    coming         what one has been told, and what will be sent next

``training.services.sweep`` does all that is due now. The rows are the truth; a lost worker, beat or broker
loses nothing.
"""
