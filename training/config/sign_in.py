"""Who signs in, and how: the settings of accounts that do not depend on the environment."""

# People
AUTH_USER_MODEL = "training.User"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    # Memory-hard, and in Python's own library; the second is for records moved from elsewhere.
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
    {"NAME": "training.services.people.passwords.EasyWords"},
]
LOGIN_URL = "/login/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/"

# Signing in (allauth). The school makes the accounts; nobody learns from here which addresses have one.
ACCOUNT_ADAPTER = "training.web.accounts.adapter.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"  # the school knows whose address it is
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_PASSWORD_RESET_TOKEN_GENERATOR = "django.contrib.auth.tokens.PasswordResetTokenGenerator"  # noqa: S105
ACCOUNT_REAUTHENTICATION_TIMEOUT = 10 * 60  # seconds
ACCOUNT_SESSION_REMEMBER = True  # as long as SESSION_COOKIE_AGE says
ACCOUNT_RATE_LIMITS = {
    "login": "30/m/ip",
    "login_failed": "10/m/ip,5/5m/key",  # by address, and by account
    "reset_password": "10/m/ip,3/m/key",
    "reset_password_from_key": "20/m/ip",
    "change_password": "5/m/user",
    "reauthenticate": "10/m/user",
}
ACCOUNT_FORMS = {
    "login": "training.web.accounts.forms.Login",
    "change_password": "training.web.accounts.forms.ChangePassword",
    "reset_password": "training.web.accounts.forms.ResetPassword",
    "reset_password_from_key": "training.web.accounts.forms.NewPassword",
    "reauthenticate": "training.web.accounts.forms.ConfirmByPassword",
}
MFA_ADAPTER = "training.web.accounts.adapter.SecondFactorAdapter"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_ALLOW_UNVERIFIED_EMAIL = True  # as above
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_WEBAUTHN_USER_VERIFICATION = "required"  # a PIN, finger or face, each time
MFA_TOTP_TOLERANCE = 1  # a telephone's clock may be off by half a minute
MFA_FORMS = {
    "authenticate": "training.web.accounts.forms.SecondFactor",
    "authenticate_webauthn": "training.web.accounts.forms.SecondFactorByPasskey",
    "reauthenticate": "training.web.accounts.forms.ConfirmByCode",
    "reauthenticate_webauthn": "training.web.accounts.forms.ConfirmByPasskey",
    "login_webauthn": "training.web.accounts.forms.LoginByPasskey",
    "add_webauthn": "training.web.accounts.forms.AddPasskey",
    "edit_webauthn": "training.web.accounts.forms.RenamePasskey",
    "activate_totp": "training.web.accounts.forms.ActivateApp",
}
