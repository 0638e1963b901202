"""Strategies: how a candidate sets supply air temperature and duct static pressure.

Each is one object in a module of its own (``as_found``, ``fixed``, ``outdoor_air``, ``airflow``, ``demand``,
``cost_optimal``, ``cost_seeking``), as ``strategy`` says what that is; ``registry`` lists them, ``choose`` is the one
door to their setpoints. ``limits`` says what no reset may pass, ``tables`` what strategies share that follow points.
"""
