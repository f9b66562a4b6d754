"""Reminders of everything that expires, and the outbox of e-mail.

    standings      a changed record -> the student's standing and upcoming expirations
    due            an expiration in reach -> reminder rows and deliveries
    fleet          the same for a school's aircraft
    outbox         deliveries -> sent mail, each once
    audits         every school's records, audited once a night
    calendars      a person's expirations as RFC 5545 (iCalendar)
    coming         a user's reminders, and a school's upcoming ones

``training.services.sweep`` does all that is due now. The database rows are the truth; losing a worker, the
scheduler or the broker loses nothing.
"""
